-- Readings that were computed from a file: how, and from which one. No row is changed or withdrawn by itself; a row counts
-- while its own entry's version of the reading does, so that a value put in by hand is no longer told as computed.

-- One row: how entry `entry`'s version of reading `reading` came out of a kept file.
CREATE TABLE measurement (
    reading BIGINT NOT NULL, entry BIGINT NOT NULL,
    recipe VARCHAR NOT NULL, version BIGINT NOT NULL,
    settings VARCHAR NOT NULL,        -- every key of the recipe, as JSON
    uses VARCHAR NOT NULL,            -- other files that went into it: name -> sha256, as JSON
    sha256 VARCHAR NOT NULL           -- of the file, which is attached to the variant
);

CREATE VIEW live_measurement AS
    SELECT m.* FROM measurement m JOIN live_reading r ON r.id = m.reading AND r.entry = m.entry;
