-- What of a room for small fish was filled: written by the movement or making that
-- filled it.
CREATE TABLE room_use (
    -- Entry of the movement or making.
    entry BIGINT NOT NULL,
    -- From 1.
    n BIGINT NOT NULL,
    site BIGINT NOT NULL,
    -- Code of the room.
    room TEXT NOT NULL,
    -- What left, or went into the making.
    number BIGINT NOT NULL,
    place BIGINT NOT NULL,
    part BIGINT NOT NULL,
    -- What the room got of it, 10 ng.
    weight BIGINT NOT NULL CHECK (weight >= 0),
    -- Entry and number of the plan's line it carried out; 0 of none.
    plan BIGINT NOT NULL,
    line BIGINT NOT NULL,
    PRIMARY KEY (entry, n)
);
-- A room's use is asked for with every plan; the table has a row for small fish only.
CREATE INDEX room_use_room ON room_use (site, room, entry);

-- What people decided about a part and a room; the latest stands.
CREATE TABLE choice (
    -- Entry that says so.
    entry BIGINT PRIMARY KEY,
    site BIGINT NOT NULL,
    number BIGINT NOT NULL,
    place BIGINT NOT NULL,
    part BIGINT NOT NULL,
    -- Code of the room.
    room TEXT NOT NULL
);
CREATE INDEX choice_part ON choice (number, place, part, entry);
