-- Who is signed in to the pages. Neither is a deed's row: a session is no part of the
-- record, and goes some time after it has ended. Types as in 0001.
CREATE TABLE session (
    sha256    TEXT   NOT NULL PRIMARY KEY, -- of what the browser shows, lower-case hexadecimal
    key       BIGINT NOT NULL,             -- entry that gave out the key it stands for
    began_us  BIGINT NOT NULL,
    ends_us   BIGINT NOT NULL,
    ended_us  BIGINT NOT NULL,             -- when somebody signed out; 0 while nobody has
    opened_by TEXT   NOT NULL UNIQUE       -- SHA-256 of the link it was given for, which opens no other; its own where a key was shown
);

-- Links the office gave out, each to sign in once.
CREATE TABLE sign_in_link (
    sha256  TEXT   NOT NULL PRIMARY KEY,   -- of what is in the link, lower-case hexadecimal
    entry   BIGINT NOT NULL,               -- that gave it out
    key     BIGINT NOT NULL,               -- entry that gave out the key it stands for
    ends_us BIGINT NOT NULL
);
