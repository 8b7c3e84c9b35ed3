"""The page Students."""
