-- Whether a sign-in was ended by somebody else, or because of what she may do: a device that still holds its cookie is told so and
-- forgets what lay on it unfinished. A sign-in that was left, locked or grew old is none of these.

alter table session add column revoked bigint not null default 0 check (revoked between 0 and 1);
