"""The page Lesson sheet."""
