"""State behind the screens: no widget here."""
