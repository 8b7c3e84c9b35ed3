"""Queries of the models, each in a file named after the table whose rows it makes."""

from pathlib import Path


def query(name: str) -> str:
    """The text of one query."""
    return (Path(__file__).parent / f"{name}.sql").read_text(encoding="utf-8")
