-- The readings that count, in the order in which they came; names in place of ids.
-- One row: one observed value of one outcome. Readings of a removed outcome are left out.
SELECT r.id, v.name AS variant, r.outcome AS outcome, r.value, w.name AS versus, s.name AS session, r.rater,
       r."order", u.name AS unit, r."when", r.note, r.entry
FROM live_reading r
JOIN live_variant v ON v.id = r.variant
JOIN live_definition o ON o.id = r.outcome
LEFT JOIN live_variant w ON w.id = r.versus
LEFT JOIN live_session s ON s.id = r.session
LEFT JOIN live_unit u ON u.id = r.unit
ORDER BY r.id
