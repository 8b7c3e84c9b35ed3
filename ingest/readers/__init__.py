"""Readers: one kind of delivered file each, in; validated rows of our own names and units, out."""
