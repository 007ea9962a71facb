"""Floor 0: what a tuning effort consists of. Knows no array library, no database and no clock."""
