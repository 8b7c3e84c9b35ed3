"""Pandera contracts: one class a table or delivery file, the unit in every field's description."""
