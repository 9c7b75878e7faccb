-- People, how they come in, and the programs they let in.

create table person (
  id text primary key,
  name text not null,
  -- Folded: found and compared by this, on both databases alike.
  name_key text not null unique,
  role text not null check (role in ('owner', 'artist', 'desk', 'accountant')),
  -- argon2id in PHC form; empty while the invitation is not taken up.
  passphrase text not null,
  created bigint not null,
  -- Null while she works here.
  left_at bigint
);
-- Exactly one first owner: the claim writes this row, and a second claim cannot.
create table claim (
  id bigint primary key check (id = 1),
  person text not null references person (id),
  at bigint not null
);

-- One-time links: for a person invited, or one whose passphrase was reset on the box.
create table invitation (
  token text primary key,
  person text not null references person (id),
  created bigint not null,
  expires bigint not null,
  used bigint
);

create index invitation_of_person on invitation (person);

-- Failures are counted per account and browser that has signed in before, never per address: whoever guesses from elsewhere
-- slows herself, not the person. The account is a keyed digest, so that names that do not exist are counted alike.
create table sign_in_delay (
  account text not null,
  browser text not null,
  failures bigint not null,
  not_before bigint not null,
  primary key (account, browser)
);

create table session (
  id text primary key,
  -- Digest of the cookie; the cookie itself is kept nowhere.
  token text not null unique,
  person text not null references person (id),
  name text not null,
  role text not null check (role in ('owner', 'artist', 'desk', 'accountant')),
  browser text not null,
  created bigint not null,
  seen bigint not null,
  expires bigint not null,
  ended bigint
);
create index session_of_person on session (person, ended);
-- For the list of browsers that are signed in: sessions that are over outnumber them by far.
create index session_in_use on session (ended, seen);

create table token (
  id text primary key,
  kind text not null check (kind in ('sensor', 'read')),
  name text not null,
  -- Digest of the secret.
  secret text not null unique,
  -- Lets the secret be shown again for a few minutes after it was made; then emptied.
  salt text not null,
  -- For a sensor: the instrument and room it writes for. Checked by the part that owns them.
  instrument text,
  room text,
  made_by text not null references person (id),
  created bigint not null,
  last_used bigint,
  revoked bigint
);
