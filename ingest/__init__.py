"""Deliveries become validated rows: found, read, checked, filed or refused."""
