-- Schema 2: what a session and its signals came to is noted when the session is closed, so that
-- a question about all sessions need not read all their records and values.
--
-- One row a session and signal, made when the session is closed. 10,000 sessions of
-- 10,000 values have 100,000 of them, and the mean of a signal in each session takes
-- less than a tenth of a second in place of the seconds that reading 40 million values takes.
-- A question that needs the values themselves goes by sample_long with the signal's name,
-- which reads that signal's pages only:
--   select session, count(*) from sample_long where name = 'O2S11' and value > 0.7 group by session;
create table tally (
  session  integer not null references session (n),
  signal   integer not null references signal (id),
  readings integer not null, -- values that came
  missing  integer not null, -- that were asked for and did not come
  low      real,             -- the least value; null where none came
  mean     real,
  high     real,
  primary key (session, signal)
) strict, without rowid;

insert into tally
select session, signal, count(value), count(*) - count(value), min(value), avg(value), max(value)
  from sample
 where session in (select n from session where content is not null)
 group by session, signal;

-- How many records a session has, how many of them are marks, and how many exchanges that
-- failed; null until it is closed.
alter table session add column records integer;
alter table session add column marks integer;
alter table session add column failed integer;

update session set (records, marks, failed) =
       (select count(*), coalesce(sum(kind = 'mark'), 0), coalesce(sum(kind = 'exchange' and outcome <> 'ok'), 0) from record where session = n)
 where content is not null;

drop view session_summary;

create view session_summary as
select s.id, s.started,
       coalesce(s.duration_us,
         (select at_us from record where session = s.n order by seq desc limit 1), 0) / 1e6 as duration_s,
       iif(s.duration_us is null, 'unfinished', 'finished') as state,
       s.conclusion, s.watching, s.forced_by, s.sensors, s.bus, s.origin, s.label, s.vehicle,
       (select b.id from pair p join session b on b.n = p.before_n where p.after_n = s.n) as before_id,
       coalesce(s.records, (select count(*) from record where session = s.n)) as records,
       coalesce(s.marks, (select count(*) from record where session = s.n and kind = 'mark')) as marks,
       coalesce(s.failed, (select count(*) from record where session = s.n and kind = 'exchange' and outcome <> 'ok')) as failed
  from session s
 order by s.n;

drop trigger session_removed;

-- Removing a session removes all of it, from the shell too.
create trigger session_removed after delete on session begin
  delete from record    where session = old.n;
  delete from sample    where session = old.n;
  delete from tally     where session = old.n;
  delete from judgement where session = old.n;
  delete from pair      where after_n = old.n or before_n = old.n;
end;

-- What each signal came to; of a session that was not closed it is found now.
--   select vehicle, mean from signal_summary join session_summary on id = session where name = 'LONGFT1';
create view signal_summary as
select s.id as session, g.name, t.readings, t.missing, t.low, t.mean, t.high, g.unit
  from tally t
  join session s on s.n = t.session
  join signal g on g.id = t.signal
union all
select s.id, g.name, count(x.value), count(*) - count(x.value), min(x.value), avg(x.value), max(x.value), g.unit
  from session s
 cross join signal g -- in this order, so that only the pages of such a session are read
 cross join sample x on x.session = s.n and x.signal = g.id
 where not exists (select 1 from tally where session = s.n)
 group by s.n, g.id;
