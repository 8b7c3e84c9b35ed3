"""The warehouse's tables, as warehouse/schema has them."""

import re
from collections.abc import Collection
from functools import cache
from pathlib import Path

import polars as pl

from warehouse.definitions import metric_codes

SCHEMA_FOLDER = Path(__file__).parent / "schema"
TYPES = {
    "VARCHAR": pl.String(), "DOUBLE": pl.Float64(), "INTEGER": pl.Int32(), "BIGINT": pl.Int64(),
    "BOOLEAN": pl.Boolean(), "DATE": pl.Date(), "TIMESTAMP": pl.Datetime("us"),
}  # fmt: skip
COLUMN = re.compile(r'^ {4}"?(\w+)"? (\w+)(\[\])?( NOT NULL)?', re.MULTILINE)


@cache
def table_names() -> list[str]:
    """Every table as schema.table, in file order."""
    return sorted(file.name.removesuffix(".sql") for file in SCHEMA_FOLDER.glob("*.sql"))


@cache
def table_sql(name: str) -> str:
    """The statement that makes a table; academy.swing_metric has a column for every metric of its rules."""
    text = (SCHEMA_FOLDER / f"{name}.sql").read_text(encoding="utf-8")
    if name != "academy.swing_metric":
        return text
    columns = ",\n".join(f"    {metric} DOUBLE" for metric in metric_codes())
    return text.replace("\n);", f",\n{columns}\n);")


@cache
def _column_lines(table: str) -> list[tuple[str, str, str, str]]:
    return COLUMN.findall(table_sql(table))


@cache
def columns(table: str) -> pl.Schema:
    """Name → type of a table's columns in their order, from its schema file, where each has a line."""
    found = _column_lines(table)
    return pl.Schema((name, pl.List(TYPES[kind]) if many else TYPES[kind]) for name, kind, many, _ in found)


def column_additions(table: str, known: Collection[str]) -> str:
    """The statements that add a table's columns which are not `known`: they are null in the rows it has."""
    return "".join(
        f'ALTER TABLE {table} ADD COLUMN "{name}" {kind}{many};\n'
        for name, kind, many, _ in _column_lines(table)
        if name not in known
    )
