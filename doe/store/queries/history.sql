-- Every entry of the journal, oldest first; `taken_back_by` is set while the entry does not count.
SELECT e.id, e.done_at AS "at", e.kind, e.summary, e.subject, e.takes_back, t.entry AS taken_back_by
FROM entry e
LEFT JOIN (
    SELECT target, arg_max(live, entry) AS live, max(entry) AS entry FROM toggle GROUP BY target
) t ON t.target = e.id AND NOT t.live
ORDER BY e.id
