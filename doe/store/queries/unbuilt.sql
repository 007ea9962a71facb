-- Readings that count of variants that are only planned.
-- One row: the entry that wrote the reading, its id, and the variant's name.
SELECT r.entry, r.id, v.name
FROM live_reading r
JOIN live_variant v ON v.status = 'planned' AND (v.id = r.variant OR v.id = r.versus)
ORDER BY r.id
