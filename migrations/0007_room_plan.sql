-- What the room plan needs to know of a room, and what pages that stay open are told.

-- Raised in the transaction of the write it tells of; pages that listen look again. Nothing but names and counts.
create table topic (
  name text primary key,
  n bigint not null,
  raised bigint not null
);

-- Moisture held by walls, textiles and paper for each part held by the air alone; likely between low and high.
alter table room add column moisture_capacity double precision not null default 10 check (moisture_capacity >= 1);
alter table room add column moisture_low double precision not null default 5 check (moisture_low >= 1);
alter table room add column moisture_high double precision not null default 20 check (moisture_high >= 1);
-- When the moisture capacity, and when the air change, was fitted from readings; null while it is an estimate.
alter table room add column fitted bigint;
alter table room add column air_changes_measured bigint;
-- Coldest surface: outside + factor * (room - outside).
alter table room add column surface_factor double precision not null default 0.6 check (surface_factor >= 0 and surface_factor <= 1);
-- Kelvins an hour, as this room was seen to warm and cool.
alter table room add column warms_k_per_hour double precision not null default 3 check (warms_k_per_hour > 0);
alter table room add column cools_k_per_hour double precision not null default 2 check (cools_k_per_hour > 0);

-- Hours of each day the device runs, from when it is switched on.
alter table device add column hours_a_day double precision not null default 24 check (hours_a_day > 0 and hours_a_day <= 24);
-- For a dehumidifier: the air its grams an hour hold for; null: this room's own.
alter table device add column rated_c double precision;
alter table device add column rated_pct double precision;

-- Hangs outside: its readings are the outside air, not that of the room it is listed under.
alter table instrument add column outdoors bigint not null default 0 check (outdoors >= 0 and outdoors <= 1);
create index instrument_outdoors on instrument (outdoors);

-- Outside air as somebody typed it in.
create table outside_air (
  id text primary key,
  at bigint not null,
  temperature_c double precision not null,
  humidity_pct double precision not null,
  given_by text not null
);
create index outside_air_by_age on outside_air (at);
