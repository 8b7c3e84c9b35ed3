"""Tables as CSV files that a spreadsheet opens without running what somebody wrote into a cell."""

import json
import re
import unicodedata
import zlib

import polars as pl

# A spreadsheet passes over blanks and what is not shown, and takes full-width signs for the plain ones.
FORMULA = r"[\s\p{Z}\p{C}]*[=+\-@＝＋－＠﹦﹢﹣﹫]"
# A true minus sign begins our own changes ("−2 %") as well, so it counts only where something is reckoned.
RECKONED = r"[\s\p{Z}\p{C}]*−.*[-*/+^=(&!|]"
FORMULA_STARTS = rf"^(?:{FORMULA}|{RECKONED}|[\t\r\n])"
# One that is set to semicolons or tabs begins a cell within ours.
FORMULA_WITHIN = rf"([;\t\r\n])({FORMULA})"
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
    safe = flat.with_columns(_inert(pl.col(name)) for name in texts)
    names = pl.DataFrame({"name": safe.columns}, {"name": pl.String}).select(_inert(pl.col("name")))
    return safe.rename(dict(zip(safe.columns, names["name"], strict=True))).write_csv()


def _inert(text: pl.Expr) -> pl.Expr:
    within = text.str.replace_all(FORMULA_WITHIN, "$1'$2")
    return pl.when(text.str.contains(FORMULA_STARTS)).then("'" + within).otherwise(within).name.keep()


def file_name(what: str, ending: str) -> str:
    """A file name that any system takes, from a title: plain letters, digits and single hyphens."""
    plain = unicodedata.normalize("NFKD", what).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")
    if len(words) > LONGEST_NAME:  # what two long titles differ in may be cut off
        words = f"{words[:LONGEST_NAME].rstrip('-')}-{zlib.crc32(what.encode()):08x}"
    return f"{words or 'underfoot'}.{ending}"


def _json(value: object) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False, default=str)
