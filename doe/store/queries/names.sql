-- What is called by a name that nothing else of its kind may have: the kind, the name and the entry that wrote it.
SELECT 'variant' AS what, name, entry, id FROM live_variant
UNION ALL SELECT 'unit', name, entry, id FROM live_unit
UNION ALL SELECT 'session', name, entry, id FROM live_session
ORDER BY entry, id
