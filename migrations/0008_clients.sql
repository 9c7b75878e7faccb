-- STAND-IN for the table of clients, until the part that owns it is merged over this file.
create table client (
  id text primary key,
  name text not null,
  name_key text not null,
  phone text not null,
  email text not null,
  born text,
  keeper text,
  restricted bigint
);
create table standin_health (
  client text primary key,
  answered bigint,
  expires bigint,
  changed bigint,
  do_not_treat bigint not null,
  advice_first bigint not null,
  guardian bigint not null
);
