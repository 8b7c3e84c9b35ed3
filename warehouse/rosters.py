"""Roster files written by us: rows as the CSV files that a delivery brings, and codes for new people."""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl

from warehouse.contracts.base import Contract, columns_of
from warehouse.contracts.deliveries import CoachingLine, ConsentLine, DrillLine, PersonLine, SeasonLine

LINES: dict[str, type[Contract]] = {
    "people.csv": PersonLine,
    "coaching.csv": CoachingLine,
    "drills.csv": DrillLine,
    "seasons.csv": SeasonLine,
    "consents.csv": ConsentLine,
}
LETTERS = {"student": "s", "coach": "c", "head_coach": "c", "guardian": "g"}


def roster_csv(file: str, rows: Sequence[Mapping[str, Any]]) -> bytes:
    """Rows as a roster file: its contract's columns in their order; what a row lacks is an empty cell.

    Raises
        KeyError: a row has a column that the file has not.
    """
    columns = list(columns_of(LINES[file]))
    for row in rows:
        if not row.keys() <= set(columns):
            raise KeyError(f"{file} has no column {', '.join(sorted(row.keys() - set(columns)))}")
    text = [{name: _written(row.get(name)) for name in columns} for row in rows]
    return pl.DataFrame(text, schema=dict.fromkeys(columns, pl.String)).write_csv().encode()


def _written(value: Any) -> str | None:
    if value is None or value == "":
        return None
    if isinstance(value, list | tuple):
        return " ".join(value) or None
    return value.isoformat() if isinstance(value, date) else str(value)


def new_codes(role: str, taken: Collection[str]) -> Iterator[str]:
    """Codes for new people of a role, as in s001, after the highest of their letter that is taken."""
    letter = LETTERS[role]
    numbers = [int(found[1]) for code in taken if (found := re.fullmatch(rf"{letter}(\d{{1,6}})", code))]
    number = max(numbers, default=0)
    while True:
        number += 1
        yield f"{letter}{number:0{3 if letter != 'c' else 2}d}"
