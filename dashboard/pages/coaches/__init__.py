"""The page Coaches."""
