package parquet

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// duckDB is a folder from which node finds @duckdb/node-api: PUSHBACK_DUCKDB, where
// `npm install @duckdb/node-api` was run.
func duckDB(t *testing.T) string {
	if _, err := exec.LookPath("node"); err != nil {
		t.Skip("DuckDB is asked by node, which is not installed")
	}
	dir := os.Getenv("PUSHBACK_DUCKDB")
	if dir == "" {
		t.Skip("run `npm install @duckdb/node-api` in a folder and name it in PUSHBACK_DUCKDB to have DuckDB read what is written")
	}
	return dir
}

// askDuckDB returns the rows of a query, in which FILE is the file or files, as JSON.
func askDuckDB(t *testing.T, dir, file, query string) string {
	t.Helper()
	script, err := filepath.Abs("testdata/ask.mjs")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("node", script, file, query)
	cmd.Dir = dir
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v: %s", query, err, errOut.String())
	}
	return string(bytes.TrimSpace(out))
}

// The package's documentation asks over a folder of files; each of its queries is run as
// it stands there, over what two laptops wrote, one session of which is on both.
func TestDuckDBFleet(t *testing.T) {
	dir, fleet := duckDB(t), t.TempDir()
	writeFile(t, filepath.Join(fleet, "laptop-1.parquet"), testSession("b7kqrt"), testSession("c8mnpq"))
	writeFile(t, filepath.Join(fleet, "laptop-2.parquet"), testSession("c8mnpq"), testSession("d9pqrt"))
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	queries := regexp.MustCompile(`(?s)//\tselect.*?;`).FindAllString(string(doc), -1)
	want := []string{
		`[{"conclusion":"unclear","sessions":"3"}]`,
		`[{"vehicle":"grey van","name":"SHRTFT1","mean_pct":-1.6,"readings":"4"}]`,
		`[{"vehicle":"grey van","side":"lean","after_s":0.9}]`,
	}
	if len(queries) != len(want) {
		t.Fatalf("%d queries in the documentation: %q", len(queries), queries)
	}
	for i, q := range queries {
		q = strings.ReplaceAll(strings.ReplaceAll(strings.TrimSuffix(q, ";"), "//\t", ""), "'fleet/*.parquet'", "FILE")
		if got := askDuckDB(t, dir, filepath.Join(fleet, "*.parquet"), q); got != want[i] {
			t.Errorf("%s\n%s\nwant %s", q, got, want[i])
		}
	}
}

// DuckDB reads from the file what was written: types, values, bytes, and the units in
// the metadata.
func TestDuckDB(t *testing.T) {
	dir := duckDB(t)
	path := filepath.Join(t.TempDir(), "x.parquet")
	writeFile(t, path, testSession("b7kqrt"), testSession("c8mnpq"))
	ask := func(query string) string { t.Helper(); return askDuckDB(t, dir, path, query) }
	for _, c := range []struct{ query, want string }{
		{"select string_agg(column_name || ' ' || column_type, ', ') as c from (describe select * from FILE)",
			`[{"c":"session VARCHAR, started TIMESTAMP WITH TIME ZONE, vehicle VARCHAR, label VARCHAR, conclusion VARCHAR, seq BIGINT, t_us BIGINT, sent_us BIGINT, kind VARCHAR, name VARCHAR, value DOUBLE, unit VARCHAR, request VARCHAR, expect INTEGER, outcome VARCHAR, raw BLOB, text VARCHAR"}]`},
		{"select seq, t_us, sent_us, name, value, unit from FILE where kind = 'sample' and session = 'b7kqrt' order by all",
			`[{"seq":"0","t_us":"20000","sent_us":"1000","name":"O2S11","value":0.45,"unit":"V"},{"seq":"0","t_us":"20000","sent_us":"1000","name":"SHRTFT1","value":-1.5625,"unit":"%"},{"seq":"3","t_us":"3000000","sent_us":"3000000","name":"RPM","value":812.25,"unit":"rpm"}]`},
		{"select session, epoch_us(started) as us, vehicle, label, conclusion from FILE where kind = 'session' order by session",
			`[{"session":"b7kqrt","us":"1772353800123456","vehicle":"grey van","label":"before","conclusion":"unclear"},{"session":"c8mnpq","us":"1772353800123456","vehicle":"grey van","label":"before","conclusion":"unclear"}]`},
		{"select request, expect, outcome, hex(raw) as raw from FILE where kind = 'exchange' and session = 'b7kqrt' order by seq",
			`[{"request":"0114","expect":1,"outcome":"ok","raw":"3745382030342034312031342035412038300D0D"},{"request":"03","expect":0,"outcome":"timed out","raw":"00FF80"}]`},
		{"select count(distinct session) as n from FILE", `[{"n":"2"}]`},
		{"select name, text->>'side' as side, (text->>'after_s')::double as after_s from FILE where kind = 'event' and session = 'b7kqrt'",
			`[{"name":"loop_answers","side":"lean","after_s":0.9}]`},
	} {
		var want, got any
		if err := json.Unmarshal([]byte(c.want), &want); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(ask(c.query)), &got); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", c.query, diff)
		}
	}
	var rows []struct{ K, V string }
	if err := json.Unmarshal([]byte(ask("select decode(key) as K, decode(value) as V from parquet_kv_metadata(FILE) where decode(key) = 'pushback.units'")), &rows); err != nil || len(rows) != 1 {
		t.Fatal(rows, err)
	}
	var units map[string]string
	if err := json.Unmarshal([]byte(rows[0].V), &units); err != nil || units["O2S11"] != "V" || units["ECT"] != "°C" || units["t_us"] != "us" {
		t.Error(units, err)
	}
}
