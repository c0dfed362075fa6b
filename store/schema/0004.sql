-- Schema 4: visits. A visit is one car's stay in the shop, from the complaint to the car handed
-- back; a session belongs to one at most.
--   select * from visit_summary where closed is null;
--   select * from session_summary where visit = 'Tuesday van';
create table visit (
  n         integer primary key autoincrement,
  name      text not null unique collate nocase, -- what people type
  vehicle   text not null,           -- in the technician's words
  complaint text not null,           -- in the owner's
  odometer  text not null,           -- as it was written down, with its unit
  order_no  text not null,           -- plate or order number
  opened    text not null,           -- RFC 3339 with offset
  closed    text                     -- the same; null: the car is still there
) strict;

-- What was done, in the order in which it was written down.
create table visit_entry (
  visit integer not null references visit (n),
  line  integer not null,            -- 0, 1, 2, …
  at    text not null,               -- RFC 3339 with offset
  text  text not null,
  primary key (visit, line)
) strict, without rowid;

alter table session add column visit integer references visit (n);
create index session_visit on session (visit);

-- Removing a visit leaves its sessions.
create trigger visit_removed after delete on visit begin
  delete from visit_entry where visit = old.n;
  update session set visit = null where visit = old.n;
end;

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
       coalesce(s.failed, (select count(*) from record where session = s.n and kind = 'exchange' and outcome <> 'ok')) as failed,
       (select v.name from visit v where v.n = s.visit) as visit
  from session s
 order by s.n;

create view visit_summary as
select v.name, v.vehicle, v.complaint, v.odometer, v.order_no, v.opened, v.closed,
       (select count(*) from session where visit = v.n) as sessions,
       (select group_concat(id, ' ') from (select id from session where visit = v.n order by n)) as ids,
       (select group_concat(at || ' ' || text, char(10)) from (select at, text from visit_entry where visit = v.n order by line)) as done
  from visit v
 order by v.n;
