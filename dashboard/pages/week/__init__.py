"""The page This week."""
