-- When the last reading that counts was taken; where none says so, when the last one was entered.
SELECT coalesce(max(r."when"), max(e.done_at)) FROM live_reading r JOIN entry e ON e.id = r.entry
