"""Rows in, answers out: swing metrics, fault rules and the season models."""
