package hazard

import (
	"strings"
	"testing"
)

func TestStep(t *testing.T) {
	if got := Step("check the codes"); got != "check the codes" {
		t.Errorf("without a hazard: %q", got)
	}
	for _, k := range Kinds() {
		if k.Caution() == "" {
			t.Fatalf("hazard %d has no caution", k)
		}
		step := Step("do this.", k, Running)
		advice, caution, _ := strings.Cut(step, Mark)
		if advice != "do this." || !strings.HasPrefix(caution, k.Caution()) || !strings.HasSuffix(caution, Running.Caution()) {
			t.Errorf("%q parts into %q and %q", step, advice, caution)
		}
	}
}

func TestJoin(t *testing.T) {
	for _, c := range []struct {
		steps []Advice
		want  string
	}{
		{nil, ""},
		{[]Advice{{Do: "a"}, {Do: "b"}}, "a; b"},
		{[]Advice{{"a", []Kind{Road}}, {Do: "b"}, {"c", []Kind{Road}}}, "a; b; c. CAUTION: " + strings.TrimSuffix(Road.Caution(), ".")},
	} {
		if got := Join(c.steps, "; "); got != c.want {
			t.Errorf("%q: %q, want %q", c.steps, got, c.want)
		}
	}
}
