"""Tables as CSV files that a spreadsheet opens without running what somebody wrote into a cell."""

import json
import re
import unicodedata

import polars as pl

FORMULA_STARTS = r"^[=+\-@\t\r]"
LONGEST_NAME = 60  # letters of a file's name before its ending


def csv_text(rows: pl.DataFrame) -> str:
    """`rows` as CSV: nested values as JSON, and text that a spreadsheet would take for a formula led by '.

    Numbers stay numbers; only text cells and column names are escaped. Null is an empty cell.
    Source: OWASP, CSV Injection (from memory).
    """
    flat = rows.with_columns(
        pl.Series(name, [_json(value) for value in rows[name].to_list()], dtype=pl.String)
        for name, kind in rows.schema.items()
        if kind.is_nested()
    )
    texts = [name for name, kind in flat.schema.items() if kind == pl.String]
    safe = flat.with_columns(
        pl.when(pl.col(name).str.contains(FORMULA_STARTS))
        .then("'" + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )
    names = {name: f"'{name}" for name in safe.columns if name[:1] in "=+-@\t\r"}
    return safe.rename(names).write_csv()


def file_name(what: str, ending: str) -> str:
    """A file name that any system takes, from a title: plain letters, digits and single hyphens."""
    plain = unicodedata.normalize("NFKD", what).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:LONGEST_NAME].rstrip("-")
    return f"{words or 'underfoot'}.{ending}"


def _json(value: object) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False, default=str)
