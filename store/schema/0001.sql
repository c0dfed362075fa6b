-- The database of pushback, schema 1. Once it is released no letter of it changes, since
-- a file whose tables are not word for word these is refused; what is new comes in 0002.sql.
--
-- A session is a sequence of records. What was asked and the raw text that came
-- back are the truth; samples are derived from them and are here so that a table
-- of values is one query away. Times are whole microseconds since the session
-- began, on a clock that never jumps; wall time is kept once, in session.started.
--
-- With the sqlite3 shell, begin with the views at the end:
--   select * from session_summary;
--   select * from sample_wide where session = 'b7kqrt';

-- One row a recording. A session without duration_us has not been ended: its
-- program still runs, or died; all that was committed is there.
create table session (
  n           integer primary key autoincrement, -- what the other tables refer to; never used twice
  id          text not null unique,  -- what people type: six characters
  started     text not null,         -- RFC 3339 with offset
  duration_us integer,               -- null: unfinished
  origin      text not null,         -- live, import, simulated
  version     text not null,         -- of the program that recorded
  adapter     text not null,         -- what the adapter calls itself
  bus         text not null,         -- can11-500, iso9141, …, unknown
  headers     integer not null,      -- 1: reply lines start with the sender's address
  padded      integer not null,      -- 1: every CAN frame is printed with 8 data bytes
  sensors     text not null,         -- oxygen sensors of the car: B1S1 B1S2 …
  watching    text not null,         -- the sensor that is forced: B1S1
  forced_by   text not null,         -- wire, mixture
  label       text not null,
  vehicle     text not null,         -- in the technician's words
  note        text not null,
  vin         text not null,         -- empty unless the technician asked to keep it
  conclusion  text not null,         -- of the verdict; empty while there is none
  content     blob                   -- SHA-256 of the records, null until the program closed the session;
                                     -- note texts and the VIN's reply are left out, so a redacted copy has the same
) strict;
create index session_content on session (content);

-- The same car before and after a repair: one row a session that was made after.
create table pair (
  after_n  integer primary key references session (n),
  before_n integer not null references session (n)
) strict;
create index pair_before on pair (before_n);

-- One row a record, in order of seq. kind says which columns count:
--   exchange: request, expect, sent_us, received_us, outcome, raw
--   mark:     mark, text
--   row:      names, vals (a line of a table recorded elsewhere)
create table record (
  session     integer not null references session (n),
  seq         integer not null,      -- 0, 1, 2, …
  at_us       integer not null,      -- when it was complete
  kind        text not null check (kind in ('exchange', 'mark', 'row')),
  request     text,                  -- service and data in hexadecimal: 0114
  expect      integer,               -- reply lines the adapter was told to wait for; 0: none told
  sent_us     integer,
  received_us integer,
  outcome     text,                  -- ok, no data, refused, timed out, garbled, bus error, adapter reset, link lost
  raw         blob,                  -- as the adapter printed it, up to the prompt
  mark        text,                  -- lean, rich, release, note, stop
  text        text,                  -- of a note
  names       text,                  -- signals, separated by spaces
  vals        text,                  -- their values in the same order; each reads back to the same double
  primary key (session, seq)
) strict, without rowid;

create table signal (
  id   integer primary key,
  name text not null unique,         -- the standard's short name: O2S11, SHRTFT1
  unit text not null,
  what text not null                 -- in words
) strict;

-- One row a value. The car measured it between sent_us and received_us. A null
-- value: it was asked for and did not come.
--
-- The key is the only index, and the table is its index: all values of one signal of
-- one session lie side by side in order of time, so reading them costs their own
-- pages and no more, however many sessions there are. What that trades away: a value
-- takes about 40 bytes (100 million in 10,000 sessions: 3.8 GB, one signal of one of
-- them in 3 ms), and to look for a signal in all sessions is a scan (those: 14 to 27 s).
-- Packing values into blobs would take a tenth, but no SQLite tool could read them; for
-- a fleet there is `pushback export --parquet`, which is packed and made for scans.
create table sample (
  session     integer not null references session (n),
  signal      integer not null references signal (id),
  received_us integer not null,
  seq         integer not null,      -- of the record that it came from
  sent_us     integer not null,
  value       real,
  primary key (session, signal, received_us, seq)
) strict, without rowid;

-- The judgement as it was printed: events in order, the verdict last. A replay
-- makes it again from the records, perhaps better.
create table judgement (
  session integer not null references session (n),
  line    integer not null,
  kind    text not null check (kind in ('event', 'verdict')),
  json    text not null,
  primary key (session, line)
) strict, without rowid;

-- Removing a session removes all of it, from the shell too.
create trigger session_removed after delete on session begin
  delete from record    where session = old.n;
  delete from sample    where session = old.n;
  delete from judgement where session = old.n;
  delete from pair      where after_n = old.n or before_n = old.n;
end;

create view session_summary as
select s.id, s.started,
       coalesce(s.duration_us,
         (select at_us from record where session = s.n order by seq desc limit 1), 0) / 1e6 as duration_s,
       iif(s.duration_us is null, 'unfinished', 'finished') as state,
       s.conclusion, s.watching, s.forced_by, s.sensors, s.bus, s.origin, s.label, s.vehicle,
       (select b.id from pair p join session b on b.n = p.before_n where p.after_n = s.n) as before_id,
       (select count(*) from record where session = s.n) as records,
       (select count(*) from record where session = s.n and kind = 'mark') as marks,
       (select count(*) from record where session = s.n and kind = 'exchange' and outcome <> 'ok') as failed
  from session s
 order by s.n;

-- All values, one a row.
create view sample_long as
select s.id as session, x.received_us / 1e6 as t_s, x.sent_us / 1e6 as sent_s, g.name, x.value, g.unit
  from session s
  join signal g
  join sample x on x.session = s.n and x.signal = g.id;

-- What the watcher saw: select * from event where event = 'loop_answers';
create view event as
select s.id as session, json ->> 't' as t_s, json ->> 'event' as event, json
  from judgement j
  join session s on s.n = j.session
 where j.kind = 'event'
 order by j.session, j.line;

-- The signals that a force test is about, one column each, one row a record.
create view sample_wide as
select s.id as session, x.received_us / 1e6 as t_s,
       max(iif(g.name = 'O2S11',    x.value, null)) as O2S11,
       max(iif(g.name = 'SHRTFT1',  x.value, null)) as SHRTFT1,
       max(iif(g.name = 'LONGFT1',  x.value, null)) as LONGFT1,
       max(iif(g.name = 'O2S12',    x.value, null)) as O2S12,
       max(iif(g.name = 'O2S21',    x.value, null)) as O2S21,
       max(iif(g.name = 'SHRTFT2',  x.value, null)) as SHRTFT2,
       max(iif(g.name = 'LONGFT2',  x.value, null)) as LONGFT2,
       max(iif(g.name = 'O2S22',    x.value, null)) as O2S22,
       max(iif(g.name = 'RPM',      x.value, null)) as RPM,
       max(iif(g.name = 'LOAD_PCT', x.value, null)) as LOAD_PCT,
       max(iif(g.name = 'ECT',      x.value, null)) as ECT,
       max(iif(g.name = 'FUELSYS1', x.value, null)) as FUELSYS1,
       max(iif(g.name = 'MAF',      x.value, null)) as MAF,
       max(iif(g.name = 'MAP',      x.value, null)) as MAP
  from sample x
  join session s on s.n = x.session
  join signal g on g.id = x.signal
 group by s.id, x.received_us, x.seq -- s.id: so that asking for one session reads only its rows
 order by s.id, x.received_us, x.seq;
