package main

import (
	"encoding/csv"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var (
	realTrims   = flag.String("realtrims", "", "trims of one real car: a `FILE` of columns session, t_s, rpm, load_pct, stft_b1_pct, …")
	updateWords = flag.Bool("update-words", false, "write anew what is said of real cars")
)

// csvRows reads a file with a head and returns its columns by name.
func csvRows(t testing.TB, file string) (column map[string]int, rows [][]string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column = map[string]int{}
	for i, name := range all[0] {
		column[name] = i
	}
	return column, all[1:]
}

// importFrames makes a session of the frames of testdata/realframes, as an adapter with
// headers on would have printed them.
func importFrames(t testing.TB, db string) {
	t.Helper()
	c, rows := csvRows(t, "../../testdata/realframes/dialogue.csv")
	var text strings.Builder
	text.WriteString("pushback capture 1\n# 2022-12-10T12:00:00Z\n0.000000000 = can11-500 headers padded\n")
	asked, last, reply := "", 0.0, ""
	end := func() {
		if asked == "" {
			return
		}
		if reply == "" {
			reply = `NO DATA\r`
		}
		fmt.Fprintf(&text, "%.9f < \"%s\\r%s\\r>\"\n", last+0.001, asked, reply)
	}
	for _, r := range rows {
		at, err := strconv.ParseFloat(r[c["t_s"]], 64)
		if err != nil {
			t.Fatal(err)
		}
		if r[c["can_id"]] == "7DF" {
			end()
			data, err := hex.DecodeString(r[c["data"]])
			if err != nil {
				t.Fatal(err)
			}
			asked, reply = strings.ToUpper(hex.EncodeToString(data[1:1+data[0]])), ""
			fmt.Fprintf(&text, "%.9f > \"%s\\r\"\n", at, asked)
		} else {
			reply += r[c["can_id"]] + r[c["data"]] + `\r`
		}
		last = at
	}
	end()
	file := filepath.Join(t.TempDir(), "frames.txt")
	if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	command(t, "import", file, "--db", db)
}

// importTrims makes a session of each recording of the file, labelled with its name.
func importTrims(t testing.TB, db, file string) map[string]string {
	t.Helper()
	c, rows := csvRows(t, file)
	signals := [][2]string{{"rpm", "RPM"}, {"load_pct", "LOAD_PCT"}, {"stft_b1_pct", "SHRTFT1"}, {"ltft_b1_pct", "LONGFT1"}, {"map_kpa", "MAP"},
		{"ect_c", "ECT"}, {"iat_c", "IAT"}, {"vss_kmh", "VSS"}}
	tables := map[string]*strings.Builder{}
	var names []string
	for _, r := range rows {
		name := r[c["session"]]
		b := tables[name]
		if b == nil {
			b = &strings.Builder{}
			tables[name], names = b, append(names, name)
			b.WriteString("t_s")
			for _, s := range signals {
				b.WriteString("," + s[1])
			}
			b.WriteString("\n")
		}
		b.WriteString(r[c["t_s"]])
		for _, s := range signals {
			b.WriteString("," + r[c[s[0]]])
		}
		b.WriteString("\n")
	}
	ids, dir := map[string]string{}, t.TempDir()
	for _, name := range names {
		table := filepath.Join(dir, name+".csv")
		if err := os.WriteFile(table, []byte(tables[name].String()), 0o600); err != nil {
			t.Fatal(err)
		}
		out, _ := command(t, "import", table, "--db", db, "--label", name, "--json")
		ids[name] = idIn(t, out)
	}
	return ids
}

// imported is where a session is named with the time of its import.
var imported = regexp.MustCompile(`session ([a-z0-9]{6}|<[a-z0-9]+>), \d{4}-\d\d-\d\d \d\d:\d\d(.*)`)

// sayings compares what commands print with what was kept of it, ids left out.
func sayings(t *testing.T, file, head string, ids map[string]string, commands [][]string) {
	t.Helper()
	var b strings.Builder
	b.WriteString(head)
	for _, args := range commands {
		shown := slices.DeleteFunc(slices.Clone(args), func(a string) bool { return a == "--db" || strings.HasSuffix(a, ".db") })
		out, status := command(t, args...)
		text := fmt.Sprintf("\n$ pushback %s\n%s(status %d)\n", strings.Join(shown, " "), out, status)
		for name, id := range ids {
			text = strings.ReplaceAll(text, id, "<"+name+">")
		}
		b.WriteString(imported.ReplaceAllString(text, "session $1, imported$2"))
	}
	if *updateWords {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	got, old := strings.Split(b.String(), "\n"), strings.Split(string(want), "\n")
	for i := range max(len(got), len(old)) {
		if i >= len(got) || i >= len(old) || got[i] != old[i] {
			t.Fatalf("%s, line %d:\nnow  %q\nkept %q\n(-update-words keeps what is said now; look at it first)", file, i+1, at(got, i), at(old, i))
		}
	}
}

func at(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return ""
}

// What is said of real computers: frames that a car of 2021 without an engine answered
// (testdata/realframes). No reading of an engine may come of it, and no fault.
func TestRealFrames(t *testing.T) {
	db := filepath.Join(t.TempDir(), "a.db")
	importFrames(t, db)
	id, _ := command(t, "sessions", "--json", "--db", db)
	// They were asked for codes, and answered that there are none.
	if page, _ := reportOf(t, db, "last"); !strings.Contains(page, "No stored or pending codes at the start or at the end") {
		t.Errorf("no word of codes: %s", regexp.MustCompile(`[^<>]*codes[^<>]*`).FindAllString(page, -1))
	}
	sayings(t, "../../testdata/realframes/says.txt", "What pushback says of the frames in dialogue.csv.\n", map[string]string{"a": idIn(t, id)},
		[][]string{{"show", "last", "--db", db}, {"trims", "last", "--db", db}})
}

// What is said of one real petrol car's trims. The data may be used with citation, its
// licence does not speak of handing it on; so it is not here, only our own words about it
// (testdata/realtrims).
func TestRealTrims(t *testing.T) {
	if *realTrims == "" {
		t.Skip("needs -realtrims FILE (testdata/realtrims/README.md)")
	}
	db := filepath.Join(t.TempDir(), "real.db")
	ids := importTrims(t, db, *realTrims)
	var commands [][]string
	for _, name := range []string{"idle46", "idle31", "long2", "live10", "live14", "drive9"} {
		commands = append(commands, []string{"show", ids[name], "--db", db}, []string{"trims", ids[name], "--db", db})
	}
	for _, pair := range [][2]string{{"live10", "live14"}, {"ufpe9", "live33"}, {"live14", "live15"}} {
		commands = append(commands, []string{"compare", ids[pair[0]], ids[pair[1]], "--db", db})
	}
	several := func(names ...string) string {
		for i, n := range names {
			names[i] = ids[n]
		}
		return strings.Join(names, ",")
	}
	commands = append(commands, []string{"compare", several("live9", "live10", "live12"), several("live14", "live15", "live16"), "--db", db})
	sayings(t, "../../testdata/realtrims/says.txt", "What pushback says of one real car's trims; <name> is the recording.\n", ids, commands)
}

// idIn is the first session id in JSON.
func idIn(t testing.TB, out string) string {
	t.Helper()
	m := regexp.MustCompile(`"id":"([a-z0-9]+)"`).FindStringSubmatch(out)
	if m == nil {
		t.Fatal(out)
	}
	return m[1]
}
