-- Tablets that several people use: enrolled by a full sign-in, then unlocked with a name and six digits.

create table tablet (
  id text primary key,
  name text not null,
  -- Digest of the cookie; the cookie itself is kept nowhere.
  secret text not null unique,
  enrolled_by text not null references person (id),
  created bigint not null,
  seen bigint not null,
  expires bigint not null,
  revoked bigint,
  -- What is under way on it, for the one button of its lock: a card's id. No reference: this part knows no cards.
  card text,
  -- When the drop in use was begun there, and when a fresh one is due.
  drop_at bigint,
  drop_due bigint
);
create index tablet_of_card on tablet (card);

-- Six digits of one person: argon2id of a keyed digest, whose key lies outside this database.
create table code (
  person text primary key references person (id),
  hash text not null,
  created bigint not null
);

-- Tries of a person's digits on a tablet since she last came in. At five only her passphrase opens it.
create table code_try (
  tablet text not null references tablet (id),
  person text not null references person (id),
  failures bigint not null,
  primary key (tablet, person)
);

-- Where the session runs; null for a browser of its own. On a tablet it ends after minutes without use.
alter table session add column tablet text;
-- When a passphrase was last typed in this session; null where only the digits were.
alter table session add column proved bigint;
