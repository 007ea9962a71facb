-- Readings that count and settled versions of variants that are only planned.
-- One row: the entry that wrote the record, what the record is, its number, and the variant's name.
SELECT r.entry, 'Reading' AS record, r.id AS number, v.name
FROM live_reading r
JOIN live_variant v ON v.status = 'planned' AND (v.id = r.variant OR v.id = r.versus)
UNION ALL SELECT s.entry, 'Settled version', s.number, v.name
FROM live_settled s
JOIN live_variant v ON v.status = 'planned' AND v.id = s.variant
ORDER BY 2, 3
