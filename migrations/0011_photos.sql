-- Photos of clients, each taken under a consent to them.

create table photo (
  id text primary key,
  client text not null references client (id),
  -- The consent it was taken under: once that is withdrawn the photo is shown no more.
  consent text not null references consent (id),
  at bigint not null,
  taken_by text not null references person (id),
  -- When of the visit, or of which kind of record; never what of her health.
  moment text not null check (moment in ('before', 'after', 'another', 'test', 'complaint', 'sheet')),
  -- The patch test, complaint or treatment card it shows; null for every other. No reference: this part knows neither.
  about text,
  width bigint not null,
  height bigint not null,
  -- Sealed: a JPEG that this program wrote itself.
  picture bytea not null
);
create index photo_of_client on photo (client, at);
create index photo_of_consent on photo (consent);
create index photo_of_record on photo (about);
