-- Clearance: patch tests, doctors' words, decisions, reactions, lots and who met them, stops, complaints, who is expected.
-- Words about health are sealed with the client's own key; what the rules need to judge (instants, results, products) is not.

-- Somebody expected for a treatment: filled by the book, with the appointment's id, and by hand.
create table expected_visit (
  id text primary key,
  client text not null references client (id),
  at bigint not null,
  kind text not null check (kind in ('set', 'infill', 'removal', 'test', 'other_service')),
  -- Who treats her; null while nobody is chosen.
  artist text references person (id),
  created bigint not null,
  -- Taken off the list: came, moved or cancelled.
  gone bigint,
  -- Liquids planned, by their words with commas between: judged as adhesives are.
  liquids text not null default ''
);
create index expected_visit_by_time on expected_visit (gone, at);
create index expected_visit_of_client on expected_visit (client, at);

-- Adhesives planned for a visit; without any it is the house adhesive of that day.
create table expected_product (
  visit text not null references expected_visit (id),
  product text not null references product (id),
  primary key (visit, product)
);

-- The adhesive the house works with from an instant on.
create table house_adhesive (
  id text primary key,
  product text not null references product (id),
  from_at bigint not null unique,
  by_person text not null,
  created bigint not null
);

create table patch_test (
  id text primary key,
  client text not null references client (id),
  method text not null check (method in ('skin', 'lashes')),
  -- Where it was placed, in words: sealed.
  site bytea,
  number_placed bigint not null check (number_placed >= 0),
  placed bigint not null,
  placed_by text not null,
  -- The newest look: when, by whom, what. A declined test has none.
  read_at bigint,
  read_by text not null,
  result text not null check (result in ('waiting', 'no reaction seen', 'doubtful', 'reaction', 'late reaction', 'not read', 'declined')),
  -- When the house learnt of it: a look may be entered later than it was made.
  read_entered bigint,
  created bigint not null,
  -- Entered by mistake: counts for nothing, stays readable.
  struck bigint
);
create index patch_test_of_client on patch_test (client, placed);
create index patch_test_by_result on patch_test (result, placed);

create table patch_test_product (
  test text not null references patch_test (id),
  product text not null references product (id),
  -- Empty where none is printed.
  lot text not null,
  primary key (test, product, lot)
);
create index patch_test_product_by_lot on patch_test_product (product, lot);

-- Liquids are generic steps, not products of the shelf.
create table patch_test_liquid (
  test text not null references patch_test (id),
  liquid text not null check (liquid in ('cleanser', 'alcohol primer', 'pH primer', 'accelerator', 'wick stop', 'finisher', 'remover')),
  primary key (test, liquid)
);

-- Every look at a test, never changed: a late reaction is one after a look without.
create table patch_test_look (
  id text primary key,
  client text not null references client (id),
  test text not null references patch_test (id),
  at bigint not null,
  result text not null,
  -- What was seen and told, sealed; null where nothing was written.
  words bytea,
  by_person text not null
);
create index look_of_client on patch_test_look (client);
create index look_of_test on patch_test_look (test, at);

-- A doctor's finding on the scale of the International Contact Dermatitis Research Group. A record of its own: neither it nor
-- a studio's result is ever turned into the other.
create table doctor_finding (
  id text primary key,
  client text not null references client (id),
  at bigint not null,
  -- A sign of the scale, as the program lists them.
  grade text not null,
  day bigint,
  -- To what, and who read it: sealed.
  words bytea,
  entered bigint not null,
  entered_by text not null
);
create index finding_of_client on doctor_finding (client);

-- What a doctor wrote: she may have this family again.
create table doctor_statement (
  id text primary key,
  client text not null references client (id),
  family text not null,
  written bigint not null,
  words bytea,
  entered bigint not null,
  entered_by text not null
);
create index statement_of_client on doctor_statement (client);

create table clearance_override (
  id text primary key,
  client text not null references client (id),
  of_rule text not null check (of_rule in ('validity', 'gap')),
  from_at bigint not null,
  until bigint not null,
  reason bytea not null,
  by_person text not null,
  at bigint not null
);
create index override_of_client on clearance_override (client);

create table reaction (
  id text primary key,
  client text not null references client (id),
  noticed bigint not null,
  -- When she met the adhesive last before it; null where nobody knows.
  exposed bigint,
  -- Pain, swelling or changed vision: medical help before anything else.
  acute bigint not null check (acute >= 0 and acute <= 1),
  -- Who treated her: she never enters the doctor's statement that lifts it.
  artist text references person (id),
  -- Symptoms, eyes, severity, first aid, what was told: sealed.
  details bytea not null,
  entered bigint not null,
  entered_by text not null,
  -- When somebody recorded that it is over. It holds all the same.
  closed bigint
);
create index reaction_of_client on reaction (client);

create table reaction_product (
  reaction text not null references reaction (id),
  product text not null references product (id),
  lot text not null,
  primary key (reaction, product, lot)
);
create index reaction_product_by_lot on reaction_product (product, lot);

create table reaction_liquid (
  reaction text not null references reaction (id),
  liquid text not null check (liquid in ('cleanser', 'alcohol primer', 'pH primer', 'accelerator', 'wick stop', 'finisher', 'remover')),
  primary key (reaction, liquid)
);

-- Looks at a reaction that are due after 24 h, 48 h, 7 d and 30 d.
create table follow_up (
  id text primary key,
  reaction text not null references reaction (id),
  client text not null references client (id),
  due bigint not null,
  done bigint,
  done_by text not null,
  words bytea
);
create index follow_up_of_reaction on follow_up (reaction, due);
create index follow_up_by_due on follow_up (done, due);

-- A client or staff met a product and lot: patch tests and treatments. What a lot trace reads.
create table exposure (
  id text primary key,
  client text not null references client (id),
  product text not null references product (id),
  lot text not null,
  at bigint not null,
  kind text not null check (kind in ('test', 'treatment', 'removal')),
  -- The test or card it comes from; one exposure a source, product and lot.
  source text not null,
  unique (source, product, lot)
);
create index exposure_of_client on exposure (client, kind, at);
create index exposure_by_lot on exposure (product, lot, at);

-- A stop of a lot, or of a whole product where the lot is null. The shelf keeps what it stops.
create table stop (
  id text primary key,
  product text not null references product (id),
  lot text,
  at bigint not null,
  by_person text not null,
  why text not null
);
create index stop_by_time on stop (at);

-- Who was told about a reaction, a stop or a staff incident, and when. Whom: the owner, supplier, insurer, authority.
create table told (
  id text primary key,
  about text not null,
  whom text not null,
  at bigint not null,
  by_person text not null
);
create index told_about on told (about, at);

-- Which clients who met a stopped lot or product were told of it.
create table told_client (
  id text primary key,
  stop text not null references stop (id),
  client text not null references client (id),
  at bigint not null,
  by_person text not null
);
create index told_client_of_stop on told_client (stop, at);
create index told_client_of_client on told_client (client);

-- Incidents of those who work here, apart from every client's file. Read by the owner alone.
create table staff_incident (
  id text primary key,
  person text not null references person (id),
  at bigint not null,
  what text not null,
  product text references product (id),
  lot text not null,
  first_aid text not null,
  entered bigint not null,
  entered_by text not null
);
create index staff_incident_by_time on staff_incident (at);

create table complaint (
  id text primary key,
  client text not null references client (id),
  at bigint not null,
  -- What she says: sealed, since it may be about health.
  what bytea not null,
  product text references product (id),
  lot text not null,
  -- The card it is about, once there are cards.
  card text not null,
  decision text not null check (decision in ('open', 'fix', 'refund', 'explained', 'refused')),
  -- A fix at no charge until then.
  fix_until bigint,
  fixed bigint,
  -- Minor units of the studio's currency; null without a refund.
  refund_minor bigint,
  entered bigint not null,
  entered_by text not null
);
create index complaint_of_client on complaint (client);
create index complaint_by_decision on complaint (decision, at);
