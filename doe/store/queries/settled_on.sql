-- The settled versions that count and stand on the variant $1, the newest first.
-- One row: number and name, the entry that settled it, and whether that entry began the project.
SELECT s.number, s.name, s.entry, e.kind = 'restore' AS began
FROM live_settled s JOIN entry e ON e.id = s.entry
WHERE s.variant = $1
ORDER BY s.number DESC
