"""Running one query, and saying what went wrong with it in one sentence."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import duckdb
import polars as pl

from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home


def first_line(error: Exception) -> str:
    """First line of what DuckDB says; the rest repeats the query."""
    return str(error).strip().splitlines()[0]


def run(connection: duckdb.DuckDBPyConnection, query: str, params: Sequence[Any] | None = None) -> None:
    """Run a statement and drop what it returns: a pending result would block the connection's next call."""
    (connection.execute(query, list(params)) if params is not None else connection.execute(query)).fetchall()


def read_frame(
    connection: duckdb.DuckDBPyConnection, query: str, params: Sequence[Any] | None = None
) -> pl.DataFrame:
    """Run one query on a connection and return its rows (none for a statement that returns nothing)."""
    try:
        relation = connection.sql(query, params=list(params)) if params else connection.sql(query)
        frame: pl.DataFrame = pl.DataFrame() if relation is None else relation.pl()
    except duckdb.IOException:
        raise  # the disk, not the query
    except duckdb.Error as error:
        raise CallError(f"The query was not accepted: {first_line(error)}") from error
    return frame


@contextmanager
def spoken(home: Home) -> Iterator[None]:
    """What a full, read-only or failing disk does to a writer, as one sentence."""
    try:
        yield
    except (OSError, duckdb.Error) as error:
        said = getattr(error, "strerror", None) or first_line(error)
        raise UnderfootError(
            f"{home.path} could not be written to the end ({said}); what is published stays as it was and no "
            "delivery is lost: make room or mend the disk, then run the same command again."
        ) from error
