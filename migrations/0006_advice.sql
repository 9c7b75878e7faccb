-- Advice that was taken for work, where each person works today, and what was foretold of each bench test.

-- One row each time an artist takes a bottle on advice. A page that was only looked at leaves none.
create table advice (
  id text primary key,
  -- Counted from 1 without gaps, so that people can speak of "no. 12".
  number bigint not null unique check (number > 0),
  at bigint not null,
  person text not null references person (id),
  artist text not null references artist (id),
  room text not null references room (id),
  -- The style's key.
  style text not null,
  bottle text not null references bottle (id),
  -- The bottle's verdict at that moment.
  verdict text not null check (verdict in ('fits', 'near_too_quick', 'near_too_slow', 'too_quick', 'too_slow')),
  -- Version of the model that answered.
  model text not null,
  -- What was asked and what was answered; snapshots, never queried.
  inputs text not null,
  answer text not null
);
create index advice_of_artist on advice (artist, at);
create index advice_by_time on advice (at);

-- Which room and style a person works in, as she last said.
create table works_in (
  person text primary key references person (id),
  room text not null references room (id),
  style text not null,
  at bigint not null
);

-- A measured set time beside what was foretold of it just before, from all that was known then and from its label alone.
-- Logarithms of seconds.
create table forecast (
  test text primary key references bench_test (id),
  at bigint not null,
  bottle text not null references bottle (id),
  measured double precision not null,
  -- 1 in 10, half, 9 in 10 as foretold.
  low double precision not null,
  middle double precision not null,
  high double precision not null,
  -- Share of what was foretold that lay below the measurement, and the logarithm of its density there.
  place double precision not null check (place >= 0 and place <= 1),
  ln_density double precision not null,
  -- The same from the label alone.
  label_middle double precision not null,
  label_ln_density double precision not null,
  -- Tests the bottle had been learned from.
  tests_before bigint not null check (tests_before >= 0)
);
create index forecast_by_time on forecast (at);
