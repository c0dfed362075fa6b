-- Schema 3: by which set of services the car was asked, j1979 or j1979-2. Requests are kept in
-- the words of J1979 in either, raw texts as they came.
alter table session add column dialect text not null default 'j1979';
