-- A diver's answer to a yield that is told of their fish. Yields are asked for by site
-- and supplier, and so is what was answered to them.
CREATE TABLE yield_answer (
    entry     BIGINT NOT NULL PRIMARY KEY,               -- what recorded it
    site      BIGINT NOT NULL,                           -- site number
    supplier  TEXT   NOT NULL,                           -- party code
    species   TEXT   NOT NULL,                           -- ASFIS code
    first_day BIGINT NOT NULL,                           -- first business day it speaks of
    end_day   BIGINT NOT NULL                            -- the day after the last
);
CREATE INDEX yield_answer_supplier ON yield_answer (site, supplier);
