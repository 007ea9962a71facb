-- The readings that count and were computed from a file, in the order in which they came.
-- One row: a reading, and how it was computed. The file's name is that of the first attachment with this content.
SELECT m.reading, v.name AS variant, r.outcome, r.value, m.recipe, m.version, m.settings, m.uses, m.sha256,
       (SELECT min_by(a.filename, a.id) FROM live_attachment a
        WHERE a.sha256 = m.sha256 AND a.variant = r.variant) AS filename
FROM live_measurement m
JOIN live_reading r ON r.id = m.reading
JOIN live_variant v ON v.id = r.variant
JOIN live_definition o ON o.id = r.outcome
ORDER BY m.reading
