"""Recordings that run on: the swings in them, whose they are, and how each is told from the rest."""
