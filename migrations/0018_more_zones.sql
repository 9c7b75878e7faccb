-- A lid may have nine zones: makers' maps go as far. What a column may hold is changed by a new table with the rows of the old one.

alter table card_zone rename to card_zone_of_seven;
create table card_zone (
  card text not null references card (id),
  side text not null check (side in ('left', 'right', 'left_lower', 'right_lower')),
  -- From the inner corner.
  zone bigint not null check (zone between 1 and 9),
  length_mm double precision not null check (length_mm between 4 and 25),
  curl text not null,
  diameter_mm double precision not null check (diameter_mm > 0 and diameter_mm < 1),
  -- Extensions a fan; 1 for single ones.
  fan bigint not null check (fan between 1 and 20),
  primary key (card, side, zone)
);
insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan)
  select card, side, zone, length_mm, curl, diameter_mm, fan from card_zone_of_seven;
drop table card_zone_of_seven;

alter table card_count rename to card_count_of_seven;
drop index count_of_card;
create table card_count (
  id text primary key,
  card text not null references card (id),
  side text not null check (side in ('left', 'right', 'left_lower', 'right_lower')),
  lash text not null check (lash in ('single', 'fan')),
  placed bigint not null check (placed >= 0 and placed <= 999),
  -- For who counts zone by zone; null for the whole lid.
  zone bigint check (zone between 1 and 9),
  -- Counted by what is gone from the strips: strips × per strip − left over. All three or none.
  strips bigint check (strips between 1 and 50),
  per_strip bigint check (per_strip between 1 and 200),
  left_over bigint check (left_over >= 0),
  at bigint not null,
  struck bigint
);
insert into card_count (id, card, side, lash, placed, zone, strips, per_strip, left_over, at, struck)
  select id, card, side, lash, placed, zone, strips, per_strip, left_over, at, struck from card_count_of_seven;
drop table card_count_of_seven;
create index count_of_card on card_count (card, at);
