-- Treatment cards: what was done at one visit, counts at the next, drops, aftercare steps, and every version a correction replaced.
-- Words that may be about health are sealed with the client's own key; figures, bottles and lots are not.

create table card (
  id text primary key,
  -- Null for who walked in. One card an appointment.
  appointment text unique references appointment (id),
  client text not null references client (id),
  artist text not null references artist (id),
  room text not null references room (id),
  kind text not null check (kind in ('full_set', 'partial_set', 'infill', 'mini_infill', 'correction', 'removal', 'other_infill', 'other_removal', 'other_service')),
  lids text not null check (lids in ('upper', 'lower', 'both')),
  begun bigint not null,
  closed bigint check (closed >= begun),
  -- When the house learnt of it, and from whom; a sheet of paper is entered after the true time.
  entered bigint not null,
  entered_by text not null,
  from_paper bigint not null check (from_paper between 0 and 1),
  -- Who wrote the sheet.
  written_by text references person (id),
  -- What clearance said when it was opened.
  clearance text not null,
  -- The room's air at the start, corrected; null where nobody had read it.
  temperature_c double precision,
  humidity_pct double precision,
  -- What was advised, beside what was taken.
  advice text references advice (id),
  advised_class text not null,
  advised_bottle text references bottle (id),
  bottle text references bottle (id),
  lot text not null,
  bead text not null check (bead in ('thin', 'medium', 'full')),
  liquids text not null,
  -- A style's key; empty where it is nobody's technique.
  technique text not null,
  -- Who was present, where the artist is learning.
  supervisor text references person (id),
  -- Another studio's extensions are on these lashes: adhesive unknown, and no retention of ours.
  elsewhere bigint not null check (elsewhere between 0 and 1),
  -- A fix at no charge belongs to the card whose set it mends.
  first_card text references card (id),
  -- What took lashes off; empty elsewhere.
  remover text not null,
  remover_lot text not null,
  minutes bigint check (minutes between 0 and 600),
  next_visit text not null,
  aftercare text not null check (aftercare in ('not given', 'told', 'printed', 'shown')),
  -- Lines of the studio's list that were ticked at closing.
  hygiene text not null,
  -- Comfort, condition of the lashes, reason, notes: sealed.
  words bytea,
  -- Counts every correction, from 1.
  version bigint not null check (version > 0)
);
create index card_of_client on card (client, begun);
create index card_of_artist on card (artist, begun);
create index card_by_closed on card (closed, begun);
create index card_of_bottle on card (bottle, begun);
-- Fixes of a card, and what must be looked at before one is erased.
create index fix_of_card on card (first_card);

-- The lash map. Zones count from the inner corner.
create table card_zone (
  card text not null references card (id),
  side text not null check (side in ('left', 'right', 'left_lower', 'right_lower')),
  zone bigint not null check (zone between 1 and 7),
  length_mm double precision not null check (length_mm between 4 and 25),
  curl text not null,
  diameter_mm double precision not null check (diameter_mm > 0 and diameter_mm < 1),
  -- Extensions a fan; 1 for single ones.
  fan bigint not null check (fan between 1 and 20),
  primary key (card, side, zone)
);

-- Numbers placed, added one after the other; a wrong one is struck out.
create table card_count (
  id text primary key,
  card text not null references card (id),
  side text not null check (side in ('left', 'right', 'left_lower', 'right_lower')),
  lash text not null check (lash in ('single', 'fan')),
  placed bigint not null check (placed >= 0 and placed <= 999),
  -- For who counts zone by zone; null for the whole lid.
  zone bigint check (zone between 1 and 7),
  -- Counted by what is gone from the strips: strips × per strip − left over. All three or none.
  strips bigint check (strips between 1 and 50),
  per_strip bigint check (per_strip between 1 and 200),
  left_over bigint check (left_over >= 0),
  at bigint not null,
  struck bigint
);
create index count_of_card on card_count (card, at);

-- A fresh drop of adhesive, with what was seen since the one before.
create table card_drop (
  id text primary key,
  card text not null references card (id),
  at bigint not null,
  bottle text not null references bottle (id),
  lot text not null,
  bead text not null check (bead in ('thin', 'medium', 'full')),
  struck bigint,
  -- Begun on this tablet while it was locked: nobody typed her digits, so it counts as the artist's.
  tablet text references tablet (id)
);
create index drop_of_card on card_drop (card, at);

create table card_seen (
  new_drop text not null references card_drop (id),
  word text not null check (word in ('stickies', 'pop-offs', 'fans closing', 'whitening')),
  primary key (new_drop, word)
);

-- What was still there when she came again, counted before cleansing.
create table card_arrival (
  card text not null references card (id),
  side text not null check (side in ('left', 'right', 'left_lower', 'right_lower')),
  -- The card whose set was counted, and how many were on that lid when she left.
  of_card text not null references card (id),
  had bigint not null check (had >= 0),
  attached bigint not null check (attached >= 0),
  grown_out bigint not null check (grown_out >= 0),
  lost bigint not null check (lost >= 0 and attached + grown_out + lost = had),
  counted_by text not null check (counted_by in ('self', 'another', 'photo')),
  counter text references person (id),
  at bigint not null,
  primary key (card, side)
);
create index arrival_of_card on card_arrival (of_card);

-- Aftercare steps as the list stood when the card was opened, with their waiting times.
create table card_step (
  card text not null references card (id),
  place bigint not null check (place between 1 and 20),
  words text not null,
  minutes bigint not null check (minutes between 0 and 120),
  begun bigint,
  done bigint,
  primary key (card, place)
);

-- What a correction replaced, as it read, with who corrected it and why.
create table card_version (
  id text primary key,
  client text not null references client (id),
  card text not null references card (id),
  version bigint not null,
  at bigint not null,
  by_mark text not null,
  reason bytea not null,
  was bytea not null,
  unique (card, version)
);
create index version_of_client on card_version (client);
