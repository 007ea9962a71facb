-- Settled versions. What a version froze stands in its body by name, as it was then: a later change of a definition, a
-- correction or a rename does not reach it. The variant stands by id, so that it is found again under another name.

-- One row: a settled version, with settings, parents, evidence and files as JSON.
CREATE TABLE settled (
    id BIGINT NOT NULL, entry BIGINT NOT NULL, replaces BIGINT, withdrawn BOOLEAN NOT NULL,
    number BIGINT NOT NULL, name VARCHAR NOT NULL, variant BIGINT NOT NULL, made_at TIMESTAMP NOT NULL, body VARCHAR NOT NULL
);

CREATE VIEW live_settled AS SELECT * FROM (
    SELECT * FROM settled WHERE entry NOT IN (SELECT id FROM dead_entry)
    QUALIFY row_number() OVER (PARTITION BY id ORDER BY entry DESC) = 1) WHERE NOT withdrawn;
