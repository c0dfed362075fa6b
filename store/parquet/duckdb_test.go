package parquet

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
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

// DuckDB reads from the file what was written: types, values, bytes, and the units in
// the metadata; and the queries of the package's documentation run.
func TestDuckDB(t *testing.T) {
	dir := duckDB(t)
	path := filepath.Join(t.TempDir(), "x.parquet")
	writeFile(t, path, testSession("b7kqrt"), testSession("c8mnpq"))
	script, err := filepath.Abs("testdata/ask.mjs")
	if err != nil {
		t.Fatal(err)
	}
	ask := func(query string) string {
		t.Helper()
		cmd := exec.Command("node", script, path, query)
		cmd.Dir = dir
		var errOut bytes.Buffer
		cmd.Stderr = &errOut
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v: %s", query, err, errOut.String())
		}
		return string(bytes.TrimSpace(out))
	}
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
		{"select vehicle, name, round(avg(value), 1) as mean_pct, count(*) as readings from FILE where kind = 'sample' and name like 'SHRTFT_' group by all order by abs(mean_pct) desc",
			`[{"vehicle":"grey van","name":"SHRTFT1","mean_pct":-1.6,"readings":"2"}]`},
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
