"""Queries of the models, each in a file named after the table whose rows it makes, and tables' columns."""

import re
from functools import cache
from pathlib import Path

import polars as pl

from warehouse.store import table_sql

TYPES = {
    "VARCHAR": pl.String(), "DOUBLE": pl.Float64(), "INTEGER": pl.Int32(), "BIGINT": pl.Int64(),
    "BOOLEAN": pl.Boolean(), "DATE": pl.Date(), "TIMESTAMP": pl.Datetime("us"),
}  # fmt: skip


def query(name: str) -> str:
    """The text of one query; a line `-- NAME.sql` in it stands for another."""
    text = (Path(__file__).parent / f"{name}.sql").read_text(encoding="utf-8")
    return re.sub(r"^ +-- (\w+)\.sql$", lambda line: query(line[1]), text, flags=re.MULTILINE)


@cache
def columns(table: str) -> pl.Schema:
    """Name → type of a table's columns in their order, from its schema file, where each has a line."""
    found = re.findall(r'^ {4}"?(\w+)"? (\w+)(\[\])?', table_sql(table), re.MULTILINE)
    return pl.Schema((name, pl.List(TYPES[kind]) if many else TYPES[kind]) for name, kind, many in found)
