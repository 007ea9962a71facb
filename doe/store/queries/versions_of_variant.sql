-- Every version of the variants that were ever called $1, the last of each variant first.
-- One row: the variant's id, its name then, the entry that wrote it, whether it withdraws it, and whether that entry counts.
SELECT id, name, entry, withdrawn, entry NOT IN (SELECT id FROM dead_entry) AS counts
FROM variant
WHERE id IN (SELECT id FROM variant WHERE name = $1)
ORDER BY id DESC, entry DESC
