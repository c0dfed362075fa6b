// Package parquet reads and writes sessions as Parquet: one value, exchange, mark or
// event a row, as [transfer.Row] describes them, in typed columns. The units stand in
// the column unit of each value and, by signal, in the file's metadata under
// pushback.units. Nothing is lost.
//
// It is the form for a fleet. Each laptop writes what it has, the files are put into
// one folder, and any engine that reads Parquet asks over all of them at once:
//
//	pushback export --all --parquet laptop-3.parquet
//
// With DuckDB, for example: how often each conclusion was reached,
//
//	select conclusion, count(distinct session) as sessions from 'fleet/*.parquet' group by 1 order by 2 desc;
//
// how far the trims were off, by car,
//
//	select vehicle, name, round(avg(value), 1) as mean_pct, count(*) as readings
//	from 'fleet/*.parquet'
//	where kind = 'sample' and regexp_matches(name, '^(SHRT|LONG)FT') group by all order by abs(mean_pct) desc;
//
// and how long the loop took to answer a force:
//
//	select vehicle, text->>'side' as side, median((text->>'after_s')::double) as after_s
//	from 'fleet/*.parquet' where kind = 'event' and name = 'loop_answers' group by all;
//
// A session that two laptops wrote is in both files: count(distinct session) and
// select distinct on (session, seq, name) see to that, or `pushback import`, which
// takes each session once.
package parquet
