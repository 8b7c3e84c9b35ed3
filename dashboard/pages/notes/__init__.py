"""The page Write a note."""
