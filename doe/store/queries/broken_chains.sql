-- Versions that count but do not follow directly on the version they name. `record_table` is put in by the caller.
-- One row: the entry that wrote such a version, and the entry whose version it replaces.
SELECT DISTINCT entry, replaces FROM (
    SELECT entry, replaces, lag(entry) OVER (PARTITION BY id ORDER BY entry) AS before
    FROM record_table WHERE entry NOT IN (SELECT id FROM dead_entry)
) WHERE replaces IS DISTINCT FROM before
