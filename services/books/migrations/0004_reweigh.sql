-- Fish weighed again: what was read beside what the book said. An observation;
-- no weight moves by it and no balance reads it.
CREATE TABLE reweigh (
    entry  BIGINT NOT NULL PRIMARY KEY,
    number BIGINT NOT NULL,                  -- its lot
    place  BIGINT NOT NULL,
    part   BIGINT NOT NULL CHECK (part >= 0), -- 0: a weighing of the ticket, which may be of several parts
    weight BIGINT NOT NULL CHECK (weight >= 0), -- read
    booked BIGINT NOT NULL,                  -- what the book said then
    note   TEXT   NOT NULL                   -- as written, or empty
);
CREATE INDEX reweigh_lot ON reweigh (number, place);
