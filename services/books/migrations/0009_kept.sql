-- What a close keeps of its day, so that a later night reads rows and never old
-- documents. Each row carries the revision; the latest one's hold. Units and
-- types as in 0001.

-- What went into each cut whose fillet was weighed, customers' cuts among them.
CREATE TABLE cut_fact (
    site          BIGINT NOT NULL,
    day           BIGINT NOT NULL,
    revision      BIGINT NOT NULL,
    entry         BIGINT NOT NULL,                       -- the cut
    n             BIGINT NOT NULL CHECK (n >= 1),        -- its input
    happened_us   BIGINT NOT NULL,
    cutter        TEXT   NOT NULL,                       -- who cut, or empty
    kitchen       TEXT   NOT NULL,                       -- customer's kitchen; empty for the own table
    specification TEXT   NOT NULL,                       -- what was cut
    species       TEXT   NOT NULL,
    presentation  BIGINT NOT NULL,                       -- as it went in
    supplier      TEXT   NOT NULL,                       -- harvester of record; empty for several
    band          TEXT   NOT NULL,                       -- edges as people read them, or empty
    condition     BIGINT NOT NULL CHECK (condition BETWEEN 0 AND 3),
    pieces        BIGINT NOT NULL CHECK (pieces >= 0),   -- 0 when not counted
    weight        BIGINT NOT NULL CHECK (weight >= 0),   -- of this input
    fillet        BIGINT NOT NULL CHECK (fillet >= 0),   -- of the whole cut
    minutes_e2    BIGINT NOT NULL CHECK (minutes_e2 >= -1), -- hundredths of a minute of the whole cut, -1 when nobody looked
    PRIMARY KEY (site, day, revision, entry, n)
);

-- A day's weight book, added up. Weight that only changed its part is left out, and
-- so is a ticket that was ended.
CREATE TABLE weight_day (
    site       BIGINT NOT NULL,
    day        BIGINT NOT NULL,
    revision   BIGINT NOT NULL,
    from_place TEXT   NOT NULL,                          -- landing, part, table, or outlet:N
    to_place   TEXT   NOT NULL,                          -- part, table, ice, outlet:N, discard, not_weighed, cutting_loss, table_unaccounted, shrink or unaccounted
    supplier   TEXT   NOT NULL,                          -- harvester of record; empty for several, and for what no lot was made of
    species    TEXT   NOT NULL,                          -- empty for what no lot was made of
    weight     BIGINT NOT NULL,
    PRIMARY KEY (site, day, revision, from_place, to_place, supplier, species)
);
