-- What is kept of one sitting, of every forecast together, and of what an advice rested on, so that no page grows with their
-- rows and a kept advice can be worked out again.

-- JSON of how many placements count, their spread and the marks drawn: made anew by the write that adds or strikes. Empty
-- for a sitting from before this was kept: then the placements are read.
alter table timing_session add column kept text not null default '';

-- JSON of counts over all forecasts whose tests still count; one row at most.
create table forecast_kept (
  one bigint primary key check (one = 1),
  summary text not null
);

-- What was known of hands and bottles when an advice was taken, by the digest of its text: an advice names what it rested on,
-- and the same knowledge is kept once however often it is used.
create table advice_state (
  digest text primary key,
  state text not null
);
