-- The first layout. Every row belongs to an entry of the journal. Nothing is updated or deleted: a correction or a
-- withdrawal is a further row with the same id, and `replaces` names the entry whose row it stands in for.
-- There are no indexes on purpose: tables are small, and a file must always open after a crash.

CREATE TABLE entry (
    id BIGINT NOT NULL,
    done_at TIMESTAMP NOT NULL,       -- the bench's own clock
    kind VARCHAR NOT NULL,
    summary VARCHAR NOT NULL,
    subject VARCHAR NOT NULL,         -- name of the record it is about, or empty
    takes_back BIGINT,                -- the entry that this one takes back
    digest VARCHAR,                   -- sha256 of the file that was imported
    inherited BOOLEAN NOT NULL        -- told by an export that was read back; holds no rows of its own
);

-- One row: from `entry` on, the rows of entry `target` count (live) or do not.
CREATE TABLE toggle (entry BIGINT NOT NULL, target BIGINT NOT NULL, live BOOLEAN NOT NULL);

-- One row: a factor, outcome, limit, derived quantity, the effort, the title or the question, as JSON.
CREATE TABLE definition (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    kind VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    was VARCHAR                       -- a factor that came late: the setting of the variants before it, as JSON
);

CREATE TABLE unit (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    name VARCHAR NOT NULL, retired BOOLEAN NOT NULL, note VARCHAR NOT NULL
);

CREATE TABLE variant (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    name VARCHAR NOT NULL, unit BIGINT, parent BIGINT, minutes DOUBLE, price DOUBLE, "when" TIMESTAMP,
    status VARCHAR NOT NULL, note VARCHAR NOT NULL,
    reference BOOLEAN NOT NULL        -- an object without settings, on purpose
);

-- One row: the setting of one factor on a variant, or on a unit as it was when it came in.
CREATE TABLE setting (
    entry BIGINT NOT NULL, holder VARCHAR NOT NULL, id BIGINT NOT NULL, factor BIGINT NOT NULL,
    number DOUBLE, level VARCHAR
);

CREATE TABLE session (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    name VARCHAR NOT NULL, "when" TIMESTAMP, note VARCHAR NOT NULL
);

CREATE TABLE reading (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    variant BIGINT NOT NULL, outcome BIGINT NOT NULL, value DOUBLE NOT NULL, versus BIGINT, session BIGINT,
    rater VARCHAR, unit BIGINT, "order" BIGINT, "when" TIMESTAMP, note VARCHAR NOT NULL
);

CREATE TABLE suggestion (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    made_at TIMESTAMP NOT NULL, body VARCHAR NOT NULL
);

CREATE TABLE attachment (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    variant BIGINT, filename VARCHAR NOT NULL, sha256 VARCHAR NOT NULL, size BIGINT NOT NULL, note VARCHAR NOT NULL
);

CREATE VIEW dead_entry AS
    SELECT target AS id FROM toggle GROUP BY target HAVING NOT arg_max(live, entry);

-- The live views: of each id the last row that counts, unless it withdraws the record.
CREATE VIEW live_definition AS SELECT * FROM (
    SELECT * FROM definition WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_unit AS SELECT * FROM (
    SELECT * FROM unit WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_variant AS SELECT * FROM (
    SELECT * FROM variant WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_setting AS
    SELECT * FROM setting WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY holder, id, factor ORDER BY entry DESC) = 1;
CREATE VIEW live_session AS SELECT * FROM (
    SELECT * FROM session WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_reading AS SELECT * FROM (
    SELECT * FROM reading WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_suggestion AS SELECT * FROM (
    SELECT * FROM suggestion WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_attachment AS SELECT * FROM (
    SELECT * FROM attachment WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
