-- Records that count but point at something that does not.
-- One row: the entry that wrote the record, what the record is, its id, and what is missing.
-- What is looked up many times is worked out once.
WITH dead AS MATERIALIZED (SELECT id FROM dead_entry),
kept_variant AS MATERIALIZED (SELECT id, entry, parent, unit FROM live_variant),
kept_unit AS MATERIALIZED (SELECT id FROM live_unit),
kept_session AS MATERIALIZED (SELECT id FROM live_session),
kept_reading AS MATERIALIZED (SELECT id, entry, variant, versus, session, unit, outcome FROM live_reading),
kept_definition AS MATERIALIZED (SELECT id FROM definition WHERE entry NOT IN (SELECT id FROM dead))
SELECT entry, 'variant' AS record, id, 'parent' AS missing FROM kept_variant
    WHERE parent IS NOT NULL AND parent NOT IN (SELECT id FROM kept_variant)
UNION ALL SELECT entry, 'variant', id, 'unit' FROM kept_variant
    WHERE unit IS NOT NULL AND unit NOT IN (SELECT id FROM kept_unit)
UNION ALL SELECT entry, 'reading', id, 'variant' FROM kept_reading WHERE variant NOT IN (SELECT id FROM kept_variant)
UNION ALL SELECT entry, 'reading', id, 'second variant' FROM kept_reading
    WHERE versus IS NOT NULL AND versus NOT IN (SELECT id FROM kept_variant)
UNION ALL SELECT entry, 'reading', id, 'session' FROM kept_reading
    WHERE session IS NOT NULL AND session NOT IN (SELECT id FROM kept_session)
UNION ALL SELECT entry, 'reading', id, 'unit' FROM kept_reading
    WHERE unit IS NOT NULL AND unit NOT IN (SELECT id FROM kept_unit)
-- an outcome or factor that was removed may be pointed at; one whose entries were all taken back may not
UNION ALL SELECT entry, 'reading', id, 'outcome' FROM kept_reading
    WHERE outcome NOT IN (SELECT id FROM kept_definition)
UNION ALL SELECT entry, holder, id, 'factor' FROM live_setting
    WHERE factor NOT IN (SELECT id FROM kept_definition)
UNION ALL SELECT entry, 'attachment', id, 'variant' FROM live_attachment
    WHERE variant IS NOT NULL AND variant NOT IN (
        SELECT id FROM variant WHERE entry NOT IN (SELECT id FROM dead))
UNION ALL SELECT m.entry, 'reading', m.reading, 'file' FROM live_measurement m JOIN kept_reading r ON r.id = m.reading
    WHERE NOT EXISTS (SELECT 1 FROM live_attachment a WHERE a.sha256 = m.sha256 AND a.variant = r.variant)
UNION ALL SELECT entry, 'judgement', id, 'prepared session' FROM live_judgement
    WHERE prepared NOT IN (SELECT id FROM live_prepared)
UNION ALL SELECT entry, 'settled version', number, 'variant' FROM live_settled
    WHERE variant NOT IN (SELECT id FROM kept_variant)
ORDER BY 1, 3
