-- What is not certain of the weight a part holds as the day turns: half-widths that
-- readings share by scale and day, drip, and squares of what is independent, as
-- canonical JSON. Empty: weighed before this was kept, so not known.
ALTER TABLE on_hand ADD COLUMN budget TEXT NOT NULL DEFAULT '';
-- What a flag rests on, for people, a line each; empty where there is nothing to add.
ALTER TABLE flag ADD COLUMN evidence TEXT NOT NULL DEFAULT '';
