-- Clients, their consultations and consents. What is said of health, and signatures, are sealed with a key of the client's own.

create table client (
  id text primary key,
  name text not null,
  -- Folded: compared by this, on both databases alike.
  name_key text not null,
  -- How the words of the name sound, in the order of the alphabet: finds one person under two spellings.
  sound text not null,
  phone text not null,
  -- The last eight digits of the number, alike with and without a country's code; empty where there are fewer than six.
  phone_digits text not null,
  email text not null,
  email_key text not null,
  -- Year, month and day with dashes: a civil day, no instant.
  born text,
  -- Whose client she is in law: null for the studio, else a self-employed artist.
  keeper text references person (id),
  notes text not null,
  created bigint not null,
  -- She asked that her record only be kept, not used.
  restricted bigint,
  -- Her history went to another record of the same person.
  merged_into text references client (id),
  erased bigint,
  -- Sealed: name, birth date and how to reach one who was erased while records of hers must stay.
  rest bytea,
  -- A keyed digest of her name and birth date, so that she is known again should she come back; only beside rest.
  echo text,
  -- She came back: the record she has now. What had to stay of her holds for it.
  came_back text references client (id)
);
create index client_by_echo on client (echo);
create index client_that_came_back on client (came_back);
create index client_by_name on client (name_key);
create index client_by_sound on client (born, sound);
create index client_by_phone on client (phone_digits);
create index client_by_email on client (email_key);
create index client_merged on client (merged_into);
create index client_of_keeper on client (keeper);

-- The words she is found by: of her name, her addresses, her number.
create table client_word (
  client text not null references client (id),
  -- As bytes: text is sorted by each database in its own way, and a search for what begins alike needs one order.
  word bytea not null,
  primary key (client, word)
);
create index client_word_by_word on client_word (word, client);

-- Artists who look after her besides her keeper.
create table client_artist (
  client text not null references client (id),
  person text not null references person (id),
  since bigint not null,
  -- Until then: she is booked with her, or stands in for a colleague. Null without an end.
  until bigint,
  primary key (client, person)
);
create index client_artist_by_person on client_artist (person);
create index client_artist_by_end on client_artist (until);

-- The key that opens what is sealed for her, itself sealed with the key that stands outside the database. Without this row all of it is dark.
create table client_key (
  client text primary key references client (id),
  wrapped bytea not null,
  -- Which key outside the database wrapped it.
  sealing text not null
);

-- Two records that somebody looked at and found to be two persons.
create table client_apart (
  client text not null references client (id),
  other text not null references client (id),
  by_person text not null references person (id),
  at bigint not null,
  primary key (client, other)
);
create index client_apart_by_other on client_apart (other);

-- A file of clients on its way in: previewed, then taken. Emptied as soon as it was taken or left.
create table client_import (
  id text primary key,
  file_name text not null,
  content bytea not null,
  -- How dates such as 3/4/1994 are read.
  day_order text not null check (day_order in ('day_first', 'month_first')),
  made_by text not null references person (id),
  created bigint not null,
  state text not null check (state in ('preview', 'taken', 'dropped')),
  rows_new bigint not null
);
create index client_import_by_age on client_import (created);

-- The questions of the consultation, one row a version; the newest counts. JSON, read whole.
create table questionnaire (
  version bigint primary key,
  questions text not null,
  made_by text not null references person (id),
  at bigint not null
);

create table consultation (
  id text primary key,
  client text not null references client (id),
  -- Of the questionnaire; 0 for the one the program came with.
  version bigint not null,
  at bigint not null,
  given_by text not null check (given_by in ('client', 'guardian', 'asked')),
  -- Who was at the page.
  taken_by text not null references person (id),
  -- Sealed: questions as asked, answers, effects.
  answers bytea not null,
  -- 1 where they lead to something else than the answers before them did: a change of health, though nobody was asked for one.
  differs bigint not null default 0 check (differs = 0 or differs = 1)
);
create index consultation_of_client on consultation (client, at);

-- Answers of another record of hers that were in force when the two were put together: they go on counting beside the newest ones until
-- she answers anew.
create table consultation_beside (
  client text not null references client (id),
  consultation text not null references consultation (id),
  primary key (client, consultation)
);
create index consultation_beside_by_consultation on consultation_beside (consultation);

-- "Anything changed?", asked at a visit.
create table consultation_asked (
  id text primary key,
  client text not null references client (id),
  at bigint not null,
  asked_by text not null references person (id),
  changed bigint not null check (changed = 0 or changed = 1)
);
create index consultation_asked_of_client on consultation_asked (client, at);

-- What a doctor answered where medical advice was to come first.
create table medical_advice (
  id text primary key,
  client text not null references client (id),
  consultation text not null references consultation (id),
  at bigint not null,
  taken_by text not null references person (id),
  -- Sealed: who, when, what was said, whether she may be treated.
  advice bytea not null
);
create index medical_advice_of_client on medical_advice (client);
create index medical_advice_of_consultation on medical_advice (consultation);

-- The wording of a consent, one row a version; the newest counts.
create table consent_text (
  purpose text not null check (purpose in ('treatment', 'health_data', 'patch_test', 'record_photos', 'publicity_photos', 'marketing')),
  version bigint not null,
  body text not null,
  made_by text not null references person (id),
  at bigint not null,
  primary key (purpose, version)
);

-- A signed consent. Never changed: what happens to it later stands in tables of its own.
create table consent (
  id text primary key,
  client text not null references client (id),
  -- The record she had when she signed, where two were put together since: part of the digest.
  given_as text not null,
  purpose text not null check (purpose in ('treatment', 'health_data', 'patch_test', 'record_photos', 'publicity_photos', 'marketing')),
  -- 0 for the wording the program came with.
  version bigint not null,
  language text not null,
  body text not null,
  text_hash text not null,
  by_guardian bigint not null check (by_guardian = 0 or by_guardian = 1),
  at bigint not null,
  taken_by text not null references person (id),
  -- Sealed: strokes or typed name, printed name, witness, guardian, reader, answers at that moment.
  signed bytea not null,
  -- Digest over all of the above as it was before sealing; the audit chain holds it too.
  digest text not null
);
create index consent_of_client on consent (client, purpose, at);

create table consent_withdrawal (
  consent text primary key references consent (id),
  at bigint not null,
  by_person text not null references person (id)
);

create table consent_copy (
  id text primary key,
  consent text not null references consent (id),
  at bigint not null,
  by_person text not null references person (id),
  way text not null check (way in ('printed', 'e-mail', 'shown'))
);
create index consent_copy_of_consent on consent_copy (consent);

-- What an erasure left, why and until when; gone with the day.
create table erasure_rest (
  client text not null references client (id),
  part text not null,
  what text not null,
  reason text not null,
  until bigint not null,
  primary key (client, part, what)
);
create index erasure_rest_by_until on erasure_rest (until);
