"""What ships as text for makers: starter sets, symptoms and help pages; both faces read them here."""
