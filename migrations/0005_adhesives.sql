-- Adhesives: the studio's cure-speed classes, products, bottles, bench tests and what they come to.

-- A window of set time at the reference climate. Retired, never deleted: an advice once given names it.
create table cure_class (
  id text primary key,
  low_s double precision not null check (low_s > 0),
  high_s double precision not null check (high_s > low_s),
  retired bigint
);
-- What a new studio begins with; the owner changes them.
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000001', 0.3, 0.5);
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000002', 0.5, 1);
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000003', 1, 2);
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000004', 2, 3);
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000005', 3, 5);
insert into cure_class (id, low_s, high_s) values ('01940000-0000-7000-8000-000000000006', 5, 8);

create table product (
  id text primary key,
  name text not null,
  name_key text not null unique,
  -- The label in seconds: two figures, one (then the upper is null), or none (both null).
  label_low_s double precision check (label_low_s > 0),
  label_high_s double precision,
  -- The maker's climate window: all four or none.
  climate_low_c double precision,
  climate_high_c double precision,
  climate_low_pct double precision,
  climate_high_pct double precision,
  family text not null check (family in ('ethyl', 'methoxyethyl', 'butyl_octyl', 'another', 'not_stated')),
  colour text not null,
  -- Days a bottle may be used once opened; null where the maker says nothing.
  opened_life_days bigint check (opened_life_days > 0),
  storage text not null,
  -- What the maker says about an accelerator on natural lashes.
  accelerator text not null check (accelerator in ('yes', 'no', 'not_known')),
  created bigint not null,
  -- Set when the studio stops the product.
  stopped bigint
);

-- A lot the studio has stopped; its bottles are named by product and lot.
create table stopped_lot (
  product text not null references product (id),
  lot text not null,
  at bigint not null,
  primary key (product, lot)
);

create table bottle (
  id text primary key,
  product text not null references product (id),
  -- Empty where none is printed.
  lot text not null,
  -- Civil days in the studio, ISO 8601: what is printed on a bottle has no hour and no zone.
  received text not null,
  expiry text,
  opened bigint,
  -- Where it stands; null while it lies in the store cupboard.
  room text references room (id),
  in_use bigint not null check (in_use >= 0 and in_use <= 1),
  created bigint not null,
  finished bigint,
  stopped bigint
);
create index bottle_of_product on bottle (product);
create index bottle_by_finished on bottle (finished);

-- One sitting: one bottle, one drop of it after another, one person; its tests share an error.
create table bench_sitting (
  id text primary key,
  bottle text not null references bottle (id),
  room text references room (id),
  person text references person (id),
  piece text not null check (piece in ('practice_lash', 'shed_hair', 'strip', 'glass')),
  -- Null where nobody noted it.
  shaken_s double precision,
  at bigint not null
);
create index sitting_of_bottle on bench_sitting (bottle, at);

create table bench_test (
  id text primary key,
  sitting text not null references bench_sitting (id),
  -- Of the sitting's bottle; repeated here so that one index finds and orders them.
  bottle text not null references bottle (id),
  at bigint not null,
  kind text not null check (kind in ('set', 'open')),
  -- Set time, or for kind 'open' the delay between pick-up and contact.
  seconds double precision not null check (seconds > 0),
  held bigint,
  nudge_s double precision,
  bead text not null check (bead in ('thin', 'medium', 'full')),
  -- Empty where it was not noted.
  pick_up text not null,
  -- Keys of the liquids, with commas between.
  liquids text not null,
  drop_min double precision,
  days_open double precision not null,
  -- The air at the test, corrected as its instrument was then, and the standard uncertainties of that.
  temperature_c double precision not null,
  humidity_pct double precision not null,
  u_temperature_k double precision not null,
  u_humidity_pct double precision not null,
  by_person text not null,
  -- Struck out by a person who saw that it went wrong; taken back by emptying it. Never deleted.
  struck bigint,
  struck_by text
);
create index bench_test_of_bottle on bench_test (bottle, at);
create index bench_test_of_sitting on bench_test (sitting);

-- What a bottle's tests come to; made again inside the write that adds or strikes a test, so that pages need not read the tests.
create table bottle_summary (
  bottle text primary key references bottle (id),
  tests bigint not null,
  summary text not null
);

-- What the finished bottles of a product told about it, so that pages do not grow with every bottle ever used up.
create table product_summary (
  product text primary key references product (id),
  summary text not null
);
