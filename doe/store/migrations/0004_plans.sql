-- Plans that were adopted. A run of one is a planned variant; once it is built it is a variant like any other.

-- One row: an adopted plan, as JSON: what it is, and its runs in order, each with the id of its variant.
CREATE TABLE plan (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL, body VARCHAR NOT NULL
);

CREATE VIEW live_plan AS SELECT * FROM (
    SELECT * FROM plan WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
