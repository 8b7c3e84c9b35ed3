"""The page Data quality."""
