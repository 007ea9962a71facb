-- How many of the readings that count each variant has of each outcome, and their mean.
-- One row: a variant by name and an outcome by id. A comparison counts for both of its variants.
WITH named AS (
    SELECT r.outcome, r.value, v.name AS variant, w.name AS versus
    FROM live_reading r
    JOIN live_variant v ON v.id = r.variant
    JOIN live_definition o ON o.id = r.outcome
    LEFT JOIN live_variant w ON w.id = r.versus
)
SELECT variant, outcome, count(*) AS readings, avg(value) AS mean FROM (
    SELECT variant, outcome, value FROM named
    UNION ALL SELECT versus, outcome, value FROM named WHERE versus IS NOT NULL
) GROUP BY variant, outcome
