-- Settling with payees. None of these tables is written by a weigh-in, so they
-- may be indexed by payee.

-- Advances and charges, to be taken off what a payee is paid. A settlement spends
-- them and carries in its document what it did not take.
CREATE TABLE deduction (
    entry   BIGINT NOT NULL PRIMARY KEY,                 -- what recorded it
    payee   TEXT   NOT NULL,                             -- party code
    advance BIGINT NOT NULL CHECK (advance IN (0, 1)),   -- money handed over already, else a charge
    name    TEXT   NOT NULL,                             -- what for, in words
    place   BIGINT NOT NULL,                             -- among charges, lower ones are taken first
    amount  BIGINT NOT NULL CHECK (amount > 0)           -- minor units
);
CREATE INDEX deduction_payee ON deduction (payee);

-- A line or a ticket that somebody disputes; its answer spends it.
CREATE TABLE dispute (
    entry  BIGINT NOT NULL PRIMARY KEY,                  -- what recorded it
    ticket BIGINT NOT NULL,                              -- entry of the ticket
    line   BIGINT NOT NULL CHECK (line >= 0),            -- number of the line, 0 is the whole ticket
    party  TEXT   NOT NULL                               -- harvester of the ticket
);
CREATE INDEX dispute_ticket ON dispute (ticket);
CREATE INDEX dispute_party ON dispute (party);

-- Currency that was in a site's drawer; the latest count of a day stands.
CREATE TABLE drawer (
    entry   BIGINT NOT NULL PRIMARY KEY,                 -- what recorded it
    site    BIGINT NOT NULL,                             -- site number
    day     BIGINT NOT NULL,                             -- business day it was counted for
    opening BIGINT NOT NULL,                             -- in it as the day began, minor units
    counted BIGINT NOT NULL                              -- in it when it was counted, minor units
);
CREATE INDEX drawer_day ON drawer (site, day);

CREATE INDEX settlement_payee ON settlement (payee);
CREATE INDEX settlement_item_what ON settlement_item (what);
CREATE INDEX payment_payee ON payment (payee);
