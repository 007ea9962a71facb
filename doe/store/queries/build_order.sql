-- The variants that count, in the order in which they were built, then the planned ones in the order in which they were noted.
-- One row: the id of a variant. One that was planned first takes its place when it is marked as built.
SELECT v.id
FROM live_variant v
JOIN variant h ON h.id = v.id AND h.status = v.status AND h.entry NOT IN (SELECT id FROM dead_entry)
GROUP BY v.id, v.status
ORDER BY v.status = 'planned', min(h.entry), v.id
