"""The page Student."""
