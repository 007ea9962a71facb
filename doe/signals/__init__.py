"""Floor 1: sound files and response curves turned into numbers."""
