"""The page Progress page."""
