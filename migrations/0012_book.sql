-- The book: what can be booked, when the house and its artists work, beds, appointments, who waits, and the calendar's secret address.

create table service (
  id text primary key,
  name text not null,
  name_key text not null unique,
  kind text not null check (kind in ('full_set', 'partial_set', 'infill', 'mini_infill', 'correction', 'removal', 'other_infill', 'other_removal', 'patch_test', 'consultation', 'other_service')),
  minutes bigint not null check (minutes between 5 and 600),
  before_minutes bigint not null check (before_minutes between 0 and 120),
  after_minutes bigint not null check (after_minutes between 0 and 120),
  -- Added where somebody comes for the first time.
  first_minutes bigint not null check (first_minutes between 0 and 120),
  -- Words of techniques it is done in, read whole; empty where it is nobody's technique.
  techniques text not null,
  patch_test bigint not null check (patch_test between 0 and 1),
  -- A talk at the desk takes no bed.
  takes_bed bigint not null check (takes_bed between 0 and 1),
  -- Offered no more; what was booked keeps it.
  closed bigint
);

-- The week as somebody works it: seven days in one text, read whole. Breaks are what lies between its spans.
create table week_hours (
  -- An artist's id, or 'house'.
  whose text primary key,
  week text not null
);

-- Days and hours off besides the week: the whole house's where no artist is named. In wall time, as it was said.
create table time_off (
  id text primary key,
  artist text references artist (id),
  from_wall text not null,
  to_wall text not null,
  zone text not null,
  from_at bigint not null,
  to_at bigint not null,
  reason text not null check (reason in ('holiday', 'break', 'away', 'house')),
  made_by text not null,
  -- Taken back by a person; never deleted.
  struck bigint
);
create index time_off_by_end on time_off (to_at);

create table bed (
  id text primary key,
  room text not null references room (id),
  name text not null,
  name_key text not null,
  closed bigint,
  unique (room, name_key)
);

create table appointment (
  id text primary key,
  artist text not null references artist (id),
  bed text references bed (id),
  service text not null references service (id),
  -- The client's record where there is one, and how she is called on screens that others see.
  client text,
  short_name text not null,
  first_visit bigint not null check (first_visit between 0 and 1),
  -- What was said: the hour on the studio's wall, and the zone that wall stood in.
  wall text not null,
  zone text not null,
  -- What that is in instants: the visit, and with the time kept free before and after it. A day at most, so that who overlaps
  -- is found among those that begin within a day.
  starts bigint not null,
  ends bigint not null check (ends > starts),
  busy_from bigint not null check (busy_from <= starts),
  busy_to bigint not null check (busy_to >= ends and busy_to - busy_from <= 86400000000),
  state text not null check (state in ('booked', 'cancelled', 'no_show')),
  -- Counts every change, from 1.
  version bigint not null,
  note text not null,
  created bigint not null,
  changed bigint not null
);
create index appointment_of_artist on appointment (artist, busy_from);
create index appointment_of_bed on appointment (bed, busy_from);
create index appointment_by_start on appointment (busy_from);
create index appointment_of_client on appointment (client, starts);

-- Every version of an appointment: where and when it lay, who changed it.
create table appointment_version (
  appointment text not null references appointment (id),
  version bigint not null,
  artist text not null references artist (id),
  bed text,
  service text not null,
  wall text not null,
  zone text not null,
  starts bigint not null,
  ends bigint not null,
  state text not null check (state in ('booked', 'cancelled', 'no_show')),
  -- Why it was called off, in a few words.
  reason text not null,
  by_mark text not null,
  at bigint not null,
  primary key (appointment, version)
);
create index appointment_version_of_artist on appointment_version (artist, starts);

-- Who would come if a time came free.
create table waiting (
  id text primary key,
  service text not null references service (id),
  -- Null where any artist will do.
  artist text references artist (id),
  client text,
  short_name text not null,
  first_visit bigint not null check (first_visit between 0 and 1),
  -- Civil days, both counted in, and minutes of the day between which the visit should begin.
  from_day text not null,
  to_day text not null,
  after_minute bigint not null check (after_minute between 0 and 1439),
  before_minute bigint not null check (before_minute between 0 and 1440),
  note text not null,
  created bigint not null,
  -- Booked, or no longer waiting.
  done bigint
);
create index waiting_by_age on waiting (done, created);
create index waiting_of_client on waiting (client);

-- An artist's calendar for other programs: a secret address. The row holds a digest, and for a few minutes what lets it be shown.
create table calendar_feed (
  id text primary key,
  artist text not null references artist (id),
  secret text not null unique,
  salt text not null,
  made_by text not null,
  created bigint not null,
  revoked bigint
);
create index calendar_feed_of_artist on calendar_feed (artist, created);
