-- Lot numbers asked ahead. Units and types as in 0001.

-- Numbers a device asked for. They follow the entry's own, and no entry gets one.
CREATE TABLE block (
    entry   BIGINT NOT NULL PRIMARY KEY,                                  -- what asked for it
    site    BIGINT NOT NULL,                                              -- the entry's
    device  TEXT   NOT NULL,                                              -- which may use them
    numbers BIGINT NOT NULL CHECK (numbers BETWEEN 1 AND 1000)            -- how many
);

-- What a day's entries spent, for its close.
CREATE INDEX spent_by ON spent (by);
