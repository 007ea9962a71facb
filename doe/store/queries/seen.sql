-- How far the readings of one outcome reach, some of them left out.
SELECT count(*) AS number, min(value) AS low, max(value) AS high
FROM live_reading
WHERE outcome = $1 AND NOT list_contains($2::INTEGER[], id)
