-- The readings of variant $1 that count and were computed from a file once, whatever was put in for their value since.
-- One row: a reading, its outcome, and the content that it was computed from.
SELECT DISTINCT r.id, r.outcome, m.sha256
FROM measurement m
JOIN live_reading r ON r.id = m.reading
JOIN live_variant v ON v.id = r.variant
WHERE v.name = $1
ORDER BY r.id
