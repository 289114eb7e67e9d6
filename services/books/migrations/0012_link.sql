-- How a closed day hangs on the one before it: what of its close's manifest tells a night
-- whether the day is to be closed again, so that a night reads no manifests. A revision of
-- before this was kept has no row until a rebuild puts it there; its manifest is read
-- instead. Units and types as in 0001.
CREATE TABLE close_link (
    site         BIGINT NOT NULL,
    day          BIGINT NOT NULL,
    revision     BIGINT NOT NULL,
    upto_seq     BIGINT NOT NULL,                        -- last sequence number of the day that was read
    opened_with  TEXT   NOT NULL,                        -- digest of what was on hand as the day began
    opened_owing TEXT   NOT NULL,                        -- of what parties were owed as it began
    left_on_hand TEXT   NOT NULL,                        -- of what was on hand as it turned
    left_owing   TEXT   NOT NULL,                        -- of what parties were owed as it turned
    PRIMARY KEY (site, day, revision)
);
