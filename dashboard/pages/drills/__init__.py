"""The page Drills."""
