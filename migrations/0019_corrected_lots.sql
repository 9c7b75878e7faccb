-- A lot that was put right on a bottle: whoever met the bottle before stays written down with the old one, and has to be found by the
-- right one.

create table corrected_lot (
  id text primary key,
  bottle text not null references bottle (id),
  -- The bottle's, kept beside it: lots are asked for by product.
  product text not null references product (id),
  -- Empty where none was written down.
  was text not null,
  became text not null,
  at bigint not null,
  by_person text not null
);
create index corrected_lot_of_product on corrected_lot (product, was, at);
create index corrected_lot_of_bottle on corrected_lot (bottle, at);
