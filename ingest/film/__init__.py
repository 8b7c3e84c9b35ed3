"""Foot-level film: frames, the four taped marks, and where they go."""
