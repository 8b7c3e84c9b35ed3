"""Every SQL of the pages, over the Reader's unqualified table names; one module a subject."""

import polars as pl

from dashboard.text.catalogue import _


def translated(rows: pl.DataFrame, *columns: str) -> pl.DataFrame:
    """`rows` with what the rules call metrics and faults in the language in use."""
    words = {name: [_(text) if text else text for text in rows[name]] for name in columns}
    return rows.with_columns(pl.Series(name, said, dtype=pl.String) for name, said in words.items())
