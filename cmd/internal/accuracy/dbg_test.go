package accuracy

import (
	"encoding/json"
	"fmt"
	"os"
	"sort"
	"strconv"
	"testing"

	"pushback/obd/simcar"
)

func TestDbg(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("N"))
	from, _ := strconv.Atoi(os.Getenv("FROM"))
	show := os.Getenv("SHOW")
	table := map[string]map[string][]uint64{}
	if show != "" {
		from, _ = strconv.Atoi(show)
		n = 1
	}
	for s := from; s < from+n; s++ {
		cfg, e := simcar.Random(uint64(s))
		tr := Run(cfg, e, s%2 == 0)
		if tr.Err != nil {
			t.Errorf("%d: %v", s, tr.Err)
			continue
		}
		k := fmt.Sprintf("%-26s %s", e.Fault, e.Conclusion)
		if table[k] == nil {
			table[k] = map[string][]uint64{}
		}
		c := string(tr.Verdict.Conclusion)
		if tr.Wrong() {
			c = "WRONG " + c
		}
		if s%2 == 0 {
			c += "*"
		}
		table[k][c] = append(table[k][c], uint64(s))
		if show != "" {
			t.Logf("%v rate %.1f marked %v %+v", tr.Bus, tr.Rate, tr.Marked, e)
			t.Logf("%+v", cfg.Forces)
			t.Logf("%+v", tr.Truth)
			for _, e := range tr.Events {
				j, _ := json.Marshal(e)
				t.Log(string(j))
			}
			for _, p := range tr.Verdict.Proofs {
				t.Logf("%-12s %-9s %s", p.ID, p.State, p.Why)
			}
			t.Logf("%+v", cfg.Car)
		}
	}
	var ks []string
	for k := range table {
		ks = append(ks, k)
	}
	sort.Strings(ks)
	for _, k := range ks {
		s := fmt.Sprintf("%-45s", k)
		var cs []string
		for c := range table[k] {
			cs = append(cs, c)
		}
		sort.Strings(cs)
		for _, c := range cs {
			v := table[k][c]
			s += fmt.Sprintf(" %s:%d(%d)", c, len(v), v[len(v)-1])
		}
		t.Log(s)
	}
}
