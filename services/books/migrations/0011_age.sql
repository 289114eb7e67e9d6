-- When the earliest fish of a part was harvested, microseconds since 1970 UTC; 0 where it
-- is not known, and where it came in before this was kept.
ALTER TABLE on_hand ADD COLUMN harvested_us BIGINT NOT NULL DEFAULT 0;
