-- Versions that count but do not follow directly on the version they name. `every_version` is put in by the caller:
-- (record, id, entry, replaces) of all tables that have versions.
-- One row: the entry that wrote such a version, and the entry whose version it replaces.
SELECT DISTINCT entry, replaces FROM (
    SELECT entry, replaces, lag(entry) OVER (PARTITION BY record, id ORDER BY entry) AS before
    FROM (every_version) WHERE entry NOT IN (SELECT id FROM dead_entry)
) WHERE replaces IS DISTINCT FROM before
ORDER BY entry, replaces
