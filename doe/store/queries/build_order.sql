-- The variants that count, in the order in which they were built (a planned one counts from when it was noted).
-- One row: the id of a variant. One that was planned first takes its place when it is marked as built.
SELECT v.id
FROM live_variant v
JOIN variant h ON h.id = v.id AND h.status = v.status AND h.entry NOT IN (SELECT id FROM dead_entry)
GROUP BY v.id
ORDER BY min(h.entry), v.id
