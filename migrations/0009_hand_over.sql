-- A device in a client's hands: the session is dropped to one form, and a person of the studio takes it back.

-- Which form the browser shows, by its id below; null while it is in the hands of whoever signed in.
alter table session add column handed_over text;
-- Where she goes on once she has it back.
alter table session add column handed_back text;

create table handed_form (
  id text primary key,
  client text not null references client (id),
  -- What she fills in: the consultation, or a consent to this purpose.
  form text not null check (form in ('consultation', 'treatment', 'health_data', 'patch_test', 'record_photos', 'publicity_photos', 'marketing')),
  begun bigint not null,
  by_person text not null references person (id),
  -- 'in_person': she would rather be asked.
  state text not null check (state in ('open', 'given', 'in_person')),
  -- Sealed: what she has filled in so far; emptied when it is given.
  draft bytea not null
);
create index handed_form_of_client on handed_form (client);
create index handed_form_by_age on handed_form (begun);
