-- What the house itself needs before any part: who writes, what was already kept, what was done.

-- Locked by every write on PostgreSQL, so that one writes at a time on both databases.
create table writer (
  id bigint primary key
);
insert into writer (id) values (1);

-- The first result of every form, so that a double click, a reload or a replay counts once.
-- The body is kept only as a keyed fingerprint.
create table form_key (
  actor text not null,
  route text not null,
  form text not null,
  fingerprint text not null,
  status bigint not null,
  location text not null,
  answer text not null,
  at bigint not null,
  primary key (actor, route, form)
);
create index form_key_by_age on form_key (at);

-- Who did what, in order, each line bound to the one before it. No values, no names: ids only.
create table audit (
  line bigint primary key,
  at bigint not null,
  actor text not null,
  action text not null,
  subject text not null,
  detail text not null,
  chain text not null
);

-- The studio's own choices; each part owns its names.
create table setting (
  name text primary key,
  value text not null
);
