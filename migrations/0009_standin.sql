-- STAND-IN until consultations are merged.
create table standin_health (
  client text primary key,
  answered bigint,
  expires bigint,
  changed bigint,
  do_not_treat bigint not null,
  advice_first bigint not null,
  guardian bigint not null
);
