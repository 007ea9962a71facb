-- Who judged, by the readings that count, in the order in which they first came; the reading $1 is left out, if given.
-- One row: one spelling of one rater.
SELECT rater FROM live_reading
WHERE rater IS NOT NULL AND id IS DISTINCT FROM $1
GROUP BY rater
ORDER BY min(id)
