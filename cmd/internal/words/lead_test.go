package words

import (
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/live"
)

// Each step of the drive for the trim map is spoken, and stands in large letters with what it still wants; its caution stays.
func TestDriveIsSpoken(t *testing.T) {
	said := map[string]string{}
	for _, step := range []string{"map_idle", "map_1500", "map_2500", "map_cruise", "map_pull", "map_idle_again", "done"} {
		g := trimmap.Guidance{Step: step, What: reason.DrivePull.Of(), Want: 15, Have: 8, Enough: step == "done"}
		s := live.NewState(session.Setup{By: analysis.ByNothing}, nil)
		s.Drive = &g
		big, voice := Big(s).Text, Voice(s)
		if voice == "" || said[voice] != "" || big == "" || len(big) > 14 || strings.HasSuffix(big, " 7") == g.Enough {
			t.Errorf("%s: %q in large letters, %q is spoken", step, big, voice)
		}
		said[voice] = step
		if !g.Enough && !strings.Contains(Caution(s), "second person") {
			t.Errorf("%s without its caution: %q", step, Caution(s))
		}
		s.Verdict = &analysis.Verdict{Conclusion: analysis.NothingForced}
		if big := Big(s).Text; g.Enough && big != "ENOUGH" || !g.Enough && big != "STOPPED" {
			t.Errorf("%s, over: %q", step, big)
		}
	}
	for _, c := range Cautions(analysis.ByNothing) {
		if strings.Contains(c, "12 V") || strings.Contains(c, "jumper") {
			t.Errorf("a drive says %q", c)
		}
	}
}
