-- Artists, the placements timed of them, and what is kept of their hands.

-- A person at the bed. Her name, role and whether she still works here stand with the person.
create table artist (
  id text primary key,
  person text not null unique references person (id),
  employment text not null check (employment in ('employed', 'self-employed')),
  trainee bigint not null check (trainee between 0 and 1),
  -- Keys of her styles, "classic volume-4"; read whole, never queried.
  styles text not null,
  -- The key of the style a page opens on; empty while none is chosen.
  usual text not null,
  -- Usual placements of a set, from which minutes a set are told.
  placements_per_set bigint not null check (placements_per_set > 0),
  created bigint not null
);

-- A sitting in which placements of one artist in one style were timed.
create table timing_session (
  id text primary key,
  artist text not null references artist (id),
  technique text not null check (technique in ('classic', 'hybrid', 'volume', 'mega')),
  -- Extensions a fan; 0 where the technique has none or none was named.
  fan bigint not null check (fan = 0 or fan between 2 and 16),
  -- When the timing took place; received says when it came in.
  at bigint not null,
  received bigint not null,
  source text not null check (source in ('taps', 'video', 'typed', 'rows')),
  -- Standard uncertainty of one difference of two instants, in seconds; null where nobody can say.
  uncertainty_s double precision,
  -- The bottle in use: its id without a foreign key, since artists know no adhesives, and its name and predicted set
  -- time as they were then. Empty and null when it was dry or unknown.
  bottle text not null,
  bottle_name text not null,
  predicted_set_s double precision,
  -- The air, where a reading near in time was there.
  temperature_c double precision,
  humidity_pct double precision,
  room text references room (id),
  dry bigint not null check (dry between 0 and 1),
  entered_by text not null,
  -- The whole sitting struck out by a person who saw that it went wrong; null while it counts.
  struck bigint
);
create index timing_session_of_artist on timing_session (artist, at, id);
create index timing_session_of_style on timing_session (artist, technique, fan, at, id);

create table placement (
  id text primary key,
  session text not null references timing_session (id),
  n bigint not null,
  travel_s double precision not null check (travel_s > 0),
  settle_s double precision not null check (settle_s > 0),
  -- Struck out, never deleted; null while it counts.
  struck bigint,
  unique (session, n)
);

-- What is kept of all her placements in one style: made anew by the write that adds or strikes, so that no page reads
-- every placement.
create table hands_kept (
  artist text not null references artist (id),
  technique text not null,
  fan bigint not null,
  -- JSON of the summary and of what the artist's page says; read whole, never queried.
  summary text not null,
  primary key (artist, technique, fan)
);
