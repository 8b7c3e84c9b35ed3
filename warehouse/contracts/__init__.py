"""Contracts of everything that comes in and everything that is appended: one class a table, strict."""
