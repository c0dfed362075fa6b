package report

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// TestShopIsBounded: whatever is given for the head of a report, a line of it stays short.
func TestShopIsBounded(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	long := strings.Repeat("ü", 100_000)
	s, err := ReadShop("", Head{Name: long, Technician: "A. B.", Complaint: long})
	if err != nil {
		t.Fatal(err)
	}
	if s.Technician != "A. B." || utf8.RuneCountInString(s.Name) > 600 || !strings.HasSuffix(s.Complaint, " …") {
		t.Errorf("%d, %q, %d", len(s.Name), s.Technician, len(s.Complaint))
	}
}
