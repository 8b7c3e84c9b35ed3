"""The page How sure are we."""
