package words

import (
	"bytes"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// What steers a terminal (ECMA-48: the control characters of C0 and C1) or turns the direction of writing (Unicode Standard Annex 9) is taken out;
// what joins letters and pictures stays.
func TestCleanAndPrintable(t *testing.T) {
	for _, c := range []struct{ name, text, clean, printable string }{
		{"plain", "idles rough", "idles rough", "idles rough"},
		{"lines", "one\n\ttwo", "one\n\ttwo", "one two"},
		{"colour", "\x1b[31mred", "[31mred", "[31mred"},
		{"a title in C1", "\u009d0;title\u009c", "0;title", "0;title"},
		{"a raw C1 byte", "a\x9bb", "a\ufffdb", "a\ufffdb"},
		{"right to left", "a\u202eb\u2066c", "abc", "abc"},
		{"joined", "a\u200db\u200cc", "a\u200db\u200cc", "a\u200db\u200cc"},
		{"bell, back and delete", "a\a\b\x7fb", "ab", "ab"},
	} {
		if got := Clean(c.text); got != c.clean {
			t.Errorf("%s: clean is %q, want %q", c.name, got, c.clean)
		}
		if got := Printable(c.text); got != c.printable {
			t.Errorf("%s: printable is %q, want %q", c.name, got, c.printable)
		}
	}
	if n := utf8.RuneCountInString(Printable(strings.Repeat("ü", 5000))); n != 4000 {
		t.Errorf("%d characters of a long line", n)
	}
}

// However a text is cut up, what passes is the whole text made clean.
func TestCleanWriter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom([]rune("aä€😀\n\x1b\u009b\u202e\u200d"))).Draw(t, "text")
		var out bytes.Buffer
		w := CleanWriter(&out)
		for rest := text; rest != ""; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "n")
			if k, err := io.WriteString(w, rest[:n]); k != n || err != nil {
				t.Fatal(k, err)
			}
			rest = rest[n:]
		}
		if got := out.String(); got != Clean(text) {
			t.Fatalf("%q became %q, want %q", text, got, Clean(text))
		}
	})
}
