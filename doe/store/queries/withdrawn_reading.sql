-- The entry that withdrew the reading $1; no row where it counts, or never came.
SELECT entry FROM (
    SELECT entry, withdrawn FROM reading
    WHERE id = $1 AND entry NOT IN (SELECT id FROM dead_entry)
    ORDER BY entry DESC LIMIT 1)
WHERE withdrawn
