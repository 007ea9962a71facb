-- Sessions that are prepared, judged blind, and closed. Variants and outcomes stand in the bodies by id, so that renaming one
-- breaks nothing. What was judged becomes readings when the session is closed; until then nothing but its own page shows it.

-- One row: a prepared session, as JSON: samples with codes, sheets with each rater's secret and order.
CREATE TABLE prepared (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    name VARCHAR NOT NULL, body VARCHAR NOT NULL, closed BOOLEAN NOT NULL
);

-- One row: what one rater said at one place of the order, as JSON: outcome id -> value.
CREATE TABLE judgement (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    prepared BIGINT NOT NULL, rater VARCHAR NOT NULL, place BIGINT NOT NULL, body VARCHAR NOT NULL,
    "when" TIMESTAMP, note VARCHAR NOT NULL
);

CREATE VIEW live_prepared AS SELECT * FROM (
    SELECT * FROM prepared WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
CREATE VIEW live_judgement AS SELECT * FROM (
    SELECT * FROM judgement WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
