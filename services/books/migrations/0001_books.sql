-- The books of a seafood buyer. Written once in PostgreSQL's types; for SQLite
-- db.rs maps BIGINT to INTEGER and BYTEA to BLOB and makes every table STRICT.
--
-- Units: weights are whole numbers of 10 ng (1e-8 g), amounts are minor units of
-- the site's currency, instants are microseconds since 1970 UTC, days are the
-- number YYYYMMDD, flags are 0 or 1. A lot is named by (number, place).

-- Sequence of a site's business day; locked by whoever writes for it. Day 0 is
-- the epoch of what the office keeps on file for the site.
CREATE TABLE head (
    site    BIGINT NOT NULL CHECK (site BETWEEN 0 AND 9999),
    day     BIGINT NOT NULL,
    next    BIGINT NOT NULL CHECK (next BETWEEN 1 AND 10000000), -- sequence the next entry gets
    last_us BIGINT NOT NULL,                                     -- newest recorded_us, never goes back
    PRIMARY KEY (site, day)
);

-- Every deed, once: audit row, answer to a repeat, leaf to be sealed.
CREATE TABLE entry (
    id          BIGINT NOT NULL PRIMARY KEY, -- YYYYMMDD SSSS NNNNNNN
    kind        TEXT   NOT NULL,             -- the deed, such as weigh_in
    party       TEXT   NOT NULL,             -- party it is about, or empty
    actor       TEXT   NOT NULL,             -- caller who asked for it
    happened_us BIGINT NOT NULL,
    recorded_us BIGINT NOT NULL,
    doc         TEXT   NOT NULL              -- canonical JSON: what was asked and what came of it
);

-- Which request made which entry; a repeat is answered from here.
CREATE TABLE request (
    request_id TEXT   NOT NULL PRIMARY KEY,
    print      BYTEA  NOT NULL,              -- SHA-256 of caller's party, method and parsed request
    entry      BIGINT NOT NULL
);

-- A deed entered after its day, under a number of the day it was entered.
CREATE TABLE late (
    id    BIGINT NOT NULL PRIMARY KEY,       -- shaped like an entry id
    entry BIGINT NOT NULL UNIQUE
);

-- What conditional deeds used up: each item of an entry once. Item 0 is the whole.
CREATE TABLE spent (
    what BIGINT NOT NULL,
    item BIGINT NOT NULL CHECK (item >= 0),
    how  TEXT   NOT NULL,                    -- void, rewrite, release, settle, revise, ...
    by   BIGINT NOT NULL,
    PRIMARY KEY (what, item)
);

-- What the office keeps on file, every version: site, party, species, scale,
-- tote, device, settings, price_list. The content is the entry's doc.
CREATE TABLE register (
    kind    TEXT   NOT NULL,
    site    BIGINT NOT NULL,                 -- 0 for what all sites share
    code    TEXT   NOT NULL,
    entry   BIGINT NOT NULL,
    from_us BIGINT NOT NULL,                 -- from when this version holds
    PRIMARY KEY (kind, site, code, entry)
);

-- One species in one presentation from one source.
CREATE TABLE lot (
    number       BIGINT NOT NULL,            -- the entry's own id, or a number kept in its doc
    place        BIGINT NOT NULL CHECK (place BETWEEN 1 AND 35),
    entry        BIGINT NOT NULL,            -- what made it: a ticket or a making
    site         BIGINT NOT NULL,
    species      TEXT   NOT NULL,
    presentation BIGINT NOT NULL,
    storage      BIGINT NOT NULL,            -- 0 when not said
    supplier     TEXT   NOT NULL,            -- harvester of record; empty when several
    making       BIGINT NOT NULL,            -- 0 from a landing, else the kind of making
    harvested_us BIGINT NOT NULL,            -- earliest harvest time known, else the weigh-in
    PRIMARY KEY (number, place)
);

-- What is alike in a lot; weight sits here.
CREATE TABLE part (
    number    BIGINT NOT NULL,
    place     BIGINT NOT NULL,
    n         BIGINT NOT NULL CHECK (n >= 1),
    band      BIGINT NOT NULL CHECK (band >= 0),         -- 0: none, or not counted
    grade     TEXT   NOT NULL,                           -- 0: none
    condition BIGINT NOT NULL CHECK (condition BETWEEN 0 AND 3),
    hold      BIGINT NOT NULL CHECK (hold IN (0, 1)),
    undersize BIGINT NOT NULL CHECK (undersize IN (0, 1, 2)), -- no, yes, not known
    entry     BIGINT NOT NULL,                           -- what opened it
    PRIMARY KEY (number, place, n),
    UNIQUE (number, place, band, grade, condition, hold)
);

-- What is paid: a part as first weighed.
CREATE TABLE line (
    ticket BIGINT NOT NULL,
    n      BIGINT NOT NULL CHECK (n >= 1),
    number BIGINT NOT NULL,
    place  BIGINT NOT NULL,
    part   BIGINT NOT NULL,
    weight BIGINT NOT NULL CHECK (weight >= 0),          -- paid net
    ice    BIGINT NOT NULL CHECK (ice >= 0),             -- taken off for ice
    amount BIGINT NOT NULL,                              -- of the line, before adjustments
    pay    BIGINT NOT NULL,                              -- of it what a hold takes along: less where a deduction reached it
    PRIMARY KEY (ticket, n)
);

-- Weight moved between parts of one lot: hold, release, regrade.
CREATE TABLE shift (
    entry     BIGINT NOT NULL,
    n         BIGINT NOT NULL,
    kind      TEXT   NOT NULL CHECK (kind IN ('hold', 'release', 'regrade')),
    number    BIGINT NOT NULL,
    place     BIGINT NOT NULL,
    from_part BIGINT NOT NULL,
    to_part   BIGINT NOT NULL,
    weight    BIGINT NOT NULL,
    amount    BIGINT NOT NULL,                           -- pay that moved with it
    PRIMARY KEY (entry, n)
);
CREATE INDEX shift_lot ON shift (number, place);

-- Weight a customer brought back, into a held part.
CREATE TABLE inward (
    entry    BIGINT NOT NULL,
    n        BIGINT NOT NULL,
    movement BIGINT NOT NULL,                            -- entry it came back from
    outlet   BIGINT NOT NULL,
    number   BIGINT NOT NULL,
    place    BIGINT NOT NULL,
    part     BIGINT NOT NULL,
    weight   BIGINT NOT NULL CHECK (weight >= 0),
    PRIMARY KEY (entry, n)
);
CREATE INDEX inward_lot ON inward (number, place);

-- Weight leaving for an outlet.
CREATE TABLE move (
    entry   BIGINT NOT NULL,
    n       BIGINT NOT NULL,
    number  BIGINT NOT NULL,
    place   BIGINT NOT NULL,
    part    BIGINT NOT NULL,
    outlet  BIGINT NOT NULL,
    party   TEXT   NOT NULL,                             -- who received it, or empty
    weight  BIGINT NOT NULL CHECK (weight >= 0),
    emptied BIGINT NOT NULL CHECK (emptied IN (0, 1)),
    amount  BIGINT NOT NULL,                             -- pay of held fish taken back with it
    PRIMARY KEY (entry, n)
);
CREATE INDEX move_lot ON move (number, place);

-- Weight a making took.
CREATE TABLE making_in (
    entry   BIGINT NOT NULL,
    n       BIGINT NOT NULL,
    number  BIGINT NOT NULL,
    place   BIGINT NOT NULL,
    part    BIGINT NOT NULL,
    weight  BIGINT NOT NULL CHECK (weight >= 0),
    emptied BIGINT NOT NULL CHECK (emptied IN (0, 1)),
    PRIMARY KEY (entry, n)
);
CREATE INDEX making_in_lot ON making_in (number, place);

-- Where a making's weight went. The rows of one making sum to its inputs.
CREATE TABLE making_out (
    entry  BIGINT NOT NULL,
    n      BIGINT NOT NULL,
    fate   TEXT   NOT NULL CHECK (fate IN ('lot', 'discard', 'not_weighed', 'cutting_loss', 'table_unaccounted')),
    number BIGINT NOT NULL,                              -- 0 unless fate is lot
    place  BIGINT NOT NULL,
    part   BIGINT NOT NULL,
    weight BIGINT NOT NULL,
    PRIMARY KEY (entry, n)
);
CREATE INDEX making_out_lot ON making_out (number, place);

-- What was weighed on ice at close.
CREATE TABLE counted (
    entry  BIGINT NOT NULL,
    n      BIGINT NOT NULL,
    number BIGINT NOT NULL,
    place  BIGINT NOT NULL,
    part   BIGINT NOT NULL,
    weight BIGINT NOT NULL CHECK (weight >= 0),
    PRIMARY KEY (entry, n)
);
CREATE INDEX counted_lot ON counted (number, place);

-- Money, each row from one account to another. An account is (site, kind,
-- party); the site is the entry's.
CREATE TABLE money (
    entry      BIGINT NOT NULL,
    n          BIGINT NOT NULL,
    from_kind  TEXT   NOT NULL,                          -- purchases, owed, held, paid, advance, deduction, carry, buyers_loss
    from_party TEXT   NOT NULL,
    to_kind    TEXT   NOT NULL,
    to_party   TEXT   NOT NULL,
    amount     BIGINT NOT NULL,
    PRIMARY KEY (entry, n)
);

-- What settling writes; the deeds come later, the shape is fixed now.
CREATE TABLE settlement (
    entry    BIGINT NOT NULL PRIMARY KEY,
    payee    TEXT   NOT NULL,
    payable  BIGINT NOT NULL,
    deducted BIGINT NOT NULL,
    carried  BIGINT NOT NULL,
    paid     BIGINT NOT NULL
);
CREATE TABLE settlement_item (
    entry  BIGINT NOT NULL,
    n      BIGINT NOT NULL CHECK (n >= 1),
    what   BIGINT NOT NULL,                              -- ticket, advance or carry-forward
    amount BIGINT NOT NULL,
    PRIMARY KEY (entry, n)
);
CREATE TABLE payment (
    entry     BIGINT NOT NULL,
    n         BIGINT NOT NULL,
    payee     TEXT   NOT NULL,
    method    TEXT   NOT NULL,
    reference TEXT   NOT NULL,
    amount    BIGINT NOT NULL,
    PRIMARY KEY (entry, n)
);

-- The last a device said of its queue.
CREATE TABLE device_word (
    entry    BIGINT NOT NULL PRIMARY KEY,
    site     BIGINT NOT NULL,
    device   TEXT   NOT NULL,
    queued   BIGINT NOT NULL,
    resolved BIGINT NOT NULL
);

-- A day, closed. Revision r spends r-1; nothing is overwritten.
CREATE TABLE close (
    site     BIGINT NOT NULL,
    day      BIGINT NOT NULL,
    revision BIGINT NOT NULL CHECK (revision >= 1),
    entry    BIGINT NOT NULL,
    manifest TEXT   NOT NULL,                            -- what the figures were worked out from
    doc      TEXT   NOT NULL,
    sha256   TEXT   NOT NULL,                            -- of doc, lower-case hexadecimal
    PRIMARY KEY (site, day, revision)
);

-- What each open part holds as the day turns.
CREATE TABLE on_hand (
    site        BIGINT NOT NULL,
    day         BIGINT NOT NULL,
    revision    BIGINT NOT NULL,
    number      BIGINT NOT NULL,
    place       BIGINT NOT NULL,
    part        BIGINT NOT NULL,
    weight      BIGINT NOT NULL,                         -- book weight, drip not taken off; may be negative
    drip        TEXT   NOT NULL,                         -- accrued since the last count: whole number of 10 ng x ppm x us
    came_in     BIGINT NOT NULL,                         -- all that ever came in
    cost        BIGINT NOT NULL,                         -- what came_in cost
    held_us     BIGINT NOT NULL,                         -- since when held, 0 when not
    PRIMARY KEY (site, day, revision, number, place, part)
);

-- What a count found.
CREATE TABLE found (
    site        BIGINT NOT NULL,
    day         BIGINT NOT NULL,
    revision    BIGINT NOT NULL,
    n           BIGINT NOT NULL,
    number      BIGINT NOT NULL,
    place       BIGINT NOT NULL,
    part        BIGINT NOT NULL,
    by          BIGINT NOT NULL,                         -- entry of the count, or of the movement that finished it
    shrink      BIGINT NOT NULL,
    unaccounted BIGINT NOT NULL,
    PRIMARY KEY (site, day, revision, n)
);

-- What each party is owed as the day turns.
CREATE TABLE party_day (
    site       BIGINT NOT NULL,
    day        BIGINT NOT NULL,
    revision   BIGINT NOT NULL,
    party      TEXT   NOT NULL,
    owed       BIGINT NOT NULL,                          -- balance
    held       BIGINT NOT NULL,                          -- balance
    owed_today BIGINT NOT NULL,                          -- change by the day's entries
    PRIMARY KEY (site, day, revision, party)
);

-- A day's cuts of one supplier, species, presentation and specification.
CREATE TABLE supplier_day (
    site          BIGINT NOT NULL,
    day           BIGINT NOT NULL,
    revision      BIGINT NOT NULL,
    supplier      TEXT   NOT NULL,
    species       TEXT   NOT NULL,
    presentation  BIGINT NOT NULL,
    specification TEXT   NOT NULL,
    customer      BIGINT NOT NULL CHECK (customer IN (0, 1)),
    cuts          BIGINT NOT NULL,
    input         BIGINT NOT NULL,
    fillet        BIGINT NOT NULL,
    mixed_cuts    BIGINT NOT NULL,
    mixed_input   BIGINT NOT NULL,
    PRIMARY KEY (site, day, revision, supplier, species, presentation, specification, customer)
);

CREATE TABLE flag (
    site     BIGINT NOT NULL,
    day      BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    key      TEXT   NOT NULL,                            -- hash of site, day, kind, subject
    kind     TEXT   NOT NULL,
    subject  TEXT   NOT NULL,
    text     TEXT   NOT NULL,
    weight   BIGINT NOT NULL,
    value    BIGINT NOT NULL,
    gap      BIGINT NOT NULL CHECK (gap IN (0, 1)),
    PRIMARY KEY (site, day, revision, key)
);
CREATE TABLE flag_seen (
    key    TEXT   NOT NULL,
    entry  BIGINT NOT NULL,
    reason TEXT   NOT NULL,
    PRIMARY KEY (key, entry)
);

-- What was turned away, merged per caller and minute.
CREATE TABLE refusal (
    minute  BIGINT NOT NULL,                             -- minutes since 1970 UTC
    actor   TEXT   NOT NULL,
    method  TEXT   NOT NULL,
    reason  TEXT   NOT NULL,
    times   BIGINT NOT NULL,
    PRIMARY KEY (minute, actor, method, reason)
);

-- Who may run a site's night; the fence only rises.
CREATE TABLE lease (
    site     BIGINT NOT NULL PRIMARY KEY,
    holder   TEXT   NOT NULL,
    fence    BIGINT NOT NULL,
    until_us BIGINT NOT NULL
);

-- About the book itself: simulated_now_us is there only in a book made with a
-- simulated clock.
CREATE TABLE book (
    name  TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
);

-- The latest revision of each close.
CREATE VIEW close_now AS
    SELECT site, day, MAX(revision) AS revision FROM close GROUP BY site, day;

-- Weight, double entry: every row leaves one place and enters another.
CREATE VIEW weight_book AS
    SELECT ticket AS entry, n, 'landing' AS from_place,
           'part:' || number || '.' || place || '.' || part AS to_place, weight AS amount
      FROM line
    UNION ALL
    SELECT ticket, n, 'landing', 'ice', ice FROM line WHERE ice <> 0
    UNION ALL
    SELECT s.by, l.n, 'part:' || l.number || '.' || l.place || '.' || l.part, 'landing', l.weight
      FROM spent s JOIN line l ON l.ticket = s.what
     WHERE s.item = 0 AND s.how IN ('void', 'rewrite')
    UNION ALL
    SELECT s.by, l.n, 'ice', 'landing', l.ice
      FROM spent s JOIN line l ON l.ticket = s.what
     WHERE s.item = 0 AND s.how IN ('void', 'rewrite') AND l.ice <> 0
    UNION ALL
    SELECT entry, n, 'part:' || number || '.' || place || '.' || from_part,
           'part:' || number || '.' || place || '.' || to_part, weight
      FROM shift
    UNION ALL
    SELECT entry, n, 'outlet:' || outlet, 'part:' || number || '.' || place || '.' || part, weight
      FROM inward
    UNION ALL
    SELECT entry, n, 'part:' || number || '.' || place || '.' || part, 'outlet:' || outlet, weight
      FROM move
    UNION ALL
    SELECT entry, n, 'part:' || number || '.' || place || '.' || part, 'table', weight
      FROM making_in
    UNION ALL
    SELECT entry, n, 'table',
           CASE fate WHEN 'lot' THEN 'part:' || number || '.' || place || '.' || part ELSE fate END, weight
      FROM making_out
    UNION ALL
    SELECT f.by, f.n, 'part:' || f.number || '.' || f.place || '.' || f.part, 'shrink', f.shrink
      FROM found f JOIN close_now c ON c.site = f.site AND c.day = f.day AND c.revision = f.revision
     WHERE f.shrink <> 0
    UNION ALL
    SELECT f.by, f.n, 'part:' || f.number || '.' || f.place || '.' || f.part, 'unaccounted', f.unaccounted
      FROM found f JOIN close_now c ON c.site = f.site AND c.day = f.day AND c.revision = f.revision
     WHERE f.unaccounted <> 0;

-- Money, double entry.
CREATE VIEW money_book AS
    SELECT entry, n, from_kind || ':' || from_party AS from_place,
           to_kind || ':' || to_party AS to_place, amount
      FROM money;
