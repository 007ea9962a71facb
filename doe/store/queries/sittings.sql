-- How many of the readings that count were taken in each session by each rater, in the order in which they first came.
-- One row: a session by name (none for readings outside of any) and a rater (none for an instrument).
SELECT s.name AS session, r.rater, count(*) AS readings
FROM live_reading r
JOIN live_variant v ON v.id = r.variant
JOIN live_definition o ON o.id = r.outcome
LEFT JOIN live_session s ON s.id = r.session
GROUP BY s.name, r.rater
ORDER BY min(r.id)
