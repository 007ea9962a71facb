-- When each reading came: when it was first put on record, or when it was taken, where that was earlier.
-- A time without hours means some time that day, one without parts of a second some time in that second. (An export that
-- is read back is put on record anew, so that the time it was taken counts there.)
WITH first_record AS (SELECT id, min(entry) AS entry FROM reading GROUP BY id)
SELECT r.id, e.done_at,
       CASE WHEN date_trunc('day', r."when") = r."when" THEN r."when" + INTERVAL 1 DAY ELSE r."when" END AS taken
FROM live_reading r
JOIN first_record f ON f.id = r.id
JOIN entry e ON e.id = f.entry;
