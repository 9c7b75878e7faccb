-- Advice that was shown for work, beside the advice on which a bottle was taken: what an artist read about her own work, in the room
-- she works in.

-- One row for each question, however often its page was opened again; gone ninety days after it was first shown.
create table advice_shown (
  id text primary key,
  -- Digest of what was asked and of the model's version, but for what creeps on with the minutes: see `KeptQuestion::fingerprint`.
  fingerprint text not null unique,
  first_at bigint not null,
  last_at bigint not null check (last_at >= first_at),
  -- Showings within a minute of one another are one.
  times bigint not null check (times > 0),
  artist text not null references artist (id),
  room text not null references room (id),
  -- The style's key.
  style text not null,
  -- What it proposed; none where no bottle was at hand that may be used.
  bottle text references bottle (id),
  -- The bottle's verdict; none without a bottle.
  verdict text check (verdict in ('fits', 'near_too_quick', 'near_too_slow', 'too_quick', 'too_slow')),
  model text not null,
  inputs text not null,
  answer text not null
);
create index advice_shown_of_artist on advice_shown (artist, last_at);
create index advice_shown_by_age on advice_shown (first_at);

-- Whether a bottle was ever taken on this knowledge: then it stays. What was only shown goes with the rows that name it, none of which
-- was first shown later than this.
alter table advice_state add column taken bigint not null default 1 check (taken between 0 and 1);
alter table advice_state add column last_at bigint not null default 0;
create index advice_state_by_age on advice_state (taken, last_at);
