-- Rooms, what stands in them, and what was read there.

create table room (
  id text primary key,
  name text not null,
  name_key text not null unique,
  volume_m3 double precision not null check (volume_m3 > 0),
  air_changes_per_hour double precision not null check (air_changes_per_hour > 0),
  -- The coldest surface by name, and its own temperature where somebody measured it.
  coldest_surface text not null,
  surface_c double precision,
  created bigint not null,
  closed bigint
);

create table device (
  id text primary key,
  room text not null references room (id),
  kind text not null check (kind in ('humidifier', 'dehumidifier', 'heater', 'cooler')),
  name text not null,
  -- Grams of water an hour; null for heaters and coolers. For a dehumidifier: as derated by its owner.
  grams_per_hour double precision,
  removed bigint
);
create index device_of_room on device (room);

create table instrument (
  id text primary key,
  room text not null references room (id),
  name text not null,
  name_key text not null,
  kind text not null check (kind in ('hand', 'logger', 'sensor')),
  place text not null check (place in ('bed', 'wall')),
  -- A wall instrument that was compared with one at the bed no longer widens.
  compared bigint,
  -- Standard uncertainties the studio entered itself; null: by the rule of checks.
  own_u_t double precision,
  own_u_h double precision,
  bought bigint not null,
  -- How a sensor's message is read; snapshot, never queried.
  mapping text not null,
  removed bigint,
  unique (room, name_key)
);
create index instrument_of_room on instrument (room);

-- A check of an instrument: humidity over a saturated salt (or beside a better hygrometer), temperature beside a better one.
create table instrument_check (
  id text primary key,
  instrument text not null references instrument (id),
  at bigint not null,
  quantity text not null check (quantity in ('humidity', 'temperature')),
  -- What it was compared with: a salt's word, or 'other'.
  against text not null,
  reference double precision not null,
  shown double precision not null,
  by_person text not null,
  -- Struck out by a person who saw that it went wrong; never deleted.
  struck bigint
);
create index check_of_instrument on instrument_check (instrument, at);

create table reading (
  id text primary key,
  room text not null references room (id),
  instrument text not null references instrument (id),
  at bigint not null,
  -- As shown by the instrument; corrections are applied when read. One may be missing.
  temperature_c double precision,
  humidity_pct double precision,
  -- Who or what gave it: an actor's mark.
  given_by text not null,
  received bigint not null,
  -- Empty for a reading that counts; else the sentence why it was set aside.
  set_aside text not null,
  unique (instrument, at)
);
create index reading_of_room on reading (room, at);

-- A logger's file on its way in: previewed, then taken, row by row, also after a restart.
create table reading_import (
  id text primary key,
  room text not null references room (id),
  instrument text not null references instrument (id),
  file_name text not null,
  content bytea not null,
  -- Digest of the content: the same file under another name belongs to the same instrument.
  digest text not null,
  -- The zone its wall times were previewed in, so that taking it reads them alike.
  zone text not null,
  -- What the person answered where the file leaves it open; empty while nothing was asked.
  day_order text not null,
  temperature_unit text not null,
  made_by text not null,
  created bigint not null,
  rows_all bigint not null,
  rows_done bigint not null,
  rows_new bigint not null,
  rows_aside bigint not null,
  state text not null check (state in ('preview', 'taking', 'taken', 'dropped'))
);
create index reading_import_of_room on reading_import (room, digest);
create index reading_import_by_state on reading_import (state);
