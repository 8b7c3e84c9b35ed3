"""What every contract shares: the check itself, and failures said in words.

A contract is a Pandera class; a field's description opens with its unit, then a semicolon, then what it is.
Frames are collected before they are checked: on a lazy frame Pandera passes bad values silently.
"""

# mypy: disallow-subclassing-any=False

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import pandera.polars as pa
import polars as pl
from pandera.errors import SchemaErrors

from warehouse.errors import UnderfootError

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"
NAME_RULE = "letters, digits, dot, underscore and hyphen only, starting with a letter or digit"


class Contract(pa.DataFrameModel):
    """Base of every contract: no column that is not named, values checked all at once."""

    class Config:
        """Pandera's own settings."""

        strict = True
        ordered = False


@dataclass(frozen=True)
class Failure:
    """One broken rule: where (`index` is the row of the frame, None for the whole column) and what."""

    reason: str
    column: str
    rule: str
    index: int | None = None
    value: str | None = None


@dataclass(frozen=True)
class _Facts:
    schema: pa.DataFrameSchema
    columns: dict[str, Any]
    dtypes: dict[str, Any]
    required: tuple[str, ...]


@cache
def _facts(contract: Any) -> _Facts:
    """What a contract says, read off its class once."""
    schema = contract.to_schema()
    columns = dict(schema.columns)
    return _Facts(
        schema,
        columns,
        {name: column.dtype.type for name, column in columns.items()},
        tuple(name for name, column in columns.items() if column.required),
    )


def _facts_of(contract: type[Contract]) -> _Facts:
    key: Any = contract  # classes are hashable; their metaclass's annotations hide it
    return _facts(key)


def columns_of(contract: type[Contract]) -> dict[str, Any]:
    """Column name → its part of the schema, in the contract's order."""
    return _facts_of(contract).columns


def dtypes_of(contract: type[Contract]) -> dict[str, Any]:
    """Column name → Polars data type."""
    return _facts_of(contract).dtypes


def required_of(contract: type[Contract]) -> tuple[str, ...]:
    """The columns that must be there."""
    return _facts_of(contract).required


def unit_of(contract: type[Contract], column: str) -> str:
    """The unit that opens the field's description; empty for a plain number or text."""
    described = columns_of(contract)[column].description or ""
    unit = described.split(";")[0].strip()
    return "" if unit in {"–", "-", "text", "date"} else str(unit)


def failures(contract: type[Contract], frame: pl.DataFrame) -> list[Failure]:
    """Every rule of the contract that the frame breaks, in row order.

    A frame that meets the plain rules (names, types, nulls, ranges, sets, patterns) is told by one pass of
    Polars over the contract's own limits; only a frame that does not goes to Pandera, which names each case.
    """
    if _meets(contract, frame):
        return []
    try:
        contract.validate(frame, lazy=True)
    except SchemaErrors as errors:
        found = [_failure(contract, row) for row in errors.failure_cases.iter_rows(named=True)]
        return sorted(found, key=lambda f: -1 if f.index is None else f.index)
    return []


def require(contract: type[Contract], frame: pl.DataFrame) -> pl.DataFrame:
    """Return the frame, cast to the contract's types and checked, ready to append.

    Raises
        UnderfootError: the rows break the contract. The readers refuse bad deliveries before this, so it
        means a reader let something through.
    """
    if frame.is_empty():
        return frame
    types = dtypes_of(contract)
    have = frame.schema
    cast = frame.cast({name: kind for name, kind in types.items() if name in have and have[name] != kind})
    broken = failures(contract, cast)
    if broken:
        first = broken[0]
        raise UnderfootError(
            f"Rows for {contract.__name__} break their contract: {first.column} {first.rule}, "
            f"found {first.value}; nothing of this delivery was loaded."
        )
    return cast


_LIMITS: dict[str, Callable[[Any, dict[str, Any]], Any]] = {
    "greater_than_or_equal_to": lambda c, s: c >= s["min_value"],
    "less_than_or_equal_to": lambda c, s: c <= s["max_value"],
    "greater_than": lambda c, s: c > s["min_value"],
    "less_than": lambda c, s: c < s["max_value"],
    "isin": lambda c, s: c.is_in(list(s["allowed_values"])),
    "str_matches": lambda c, s: c.str.contains(_source(s["pattern"])),
}
_ONE_VALUE: dict[str, Callable[[Any, dict[str, Any]], bool]] = {
    "greater_than_or_equal_to": lambda v, s: v >= s["min_value"] or v != v,  # noqa: PLR0124 - as in Polars, NaN is highest
    "less_than_or_equal_to": lambda v, s: v <= s["max_value"],
    "greater_than": lambda v, s: v > s["min_value"] or v != v,  # noqa: PLR0124
    "less_than": lambda v, s: v < s["max_value"],
    "isin": lambda v, s: v in s["allowed_values"],
    "str_matches": lambda v, s: re.search(_source(s["pattern"]), v) is not None,
}
_SPANNED = {"greater_than_or_equal_to", "less_than_or_equal_to", "greater_than", "less_than"}
_FEW_ROWS = 128  # up to here values are looked at one by one: quicker than starting a query


def _source(pattern: Any) -> str:
    return str(getattr(pattern, "pattern", pattern))


@cache
def _gate(contract: Any, names: tuple[str, ...]) -> pl.Expr | None:
    """One expression that is true when every plain rule holds; None when a rule is not a plain one."""
    parts = [pl.lit(value=True)]
    for name in names:
        column = columns_of(contract)[name]
        if not column.nullable:
            parts.append(pl.col(name).null_count() == 0)
        for check in column.checks:
            if check.name not in _LIMITS:
                return None
            parts.append(_LIMITS[check.name](pl.col(name), check.statistics).all())
    return pl.all_horizontal(parts)


def _meets(contract: type[Contract], frame: pl.DataFrame) -> bool:
    facts, schema = _facts_of(contract), frame.schema
    if not set(facts.required) <= schema.keys() <= facts.columns.keys():
        return False
    if any(kind != facts.dtypes[name] for name, kind in schema.items()):
        return False
    if frame.is_empty():
        return True
    if facts.schema.checks:
        return False
    if len(frame) <= _FEW_ROWS:
        return all(_column_meets(facts.columns[name], frame[name].to_list()) for name in schema)
    key: Any = contract
    gate = _gate(key, tuple(schema))
    return gate is not None and bool(frame.select(gate).item())


def _column_meets(column: Any, values: list[Any]) -> bool:
    given = [value for value in values if value is not None]
    if len(given) < len(values) and not column.nullable:
        return False
    return all(
        check.name in _ONE_VALUE and all(_ONE_VALUE[check.name](value, check.statistics) for value in given)
        for check in column.checks
    )


def span_meets(contract: type[Contract], column: str, low: float, high: float, *, gaps: bool) -> bool:
    """Whether numbers from `low` to `high`, with or without empty places, keep a column's limits.

    False also where a rule is not a limit: `failures` then has to look.
    """
    facts = columns_of(contract)[column]
    if gaps and not facts.nullable:
        return False
    return all(
        check.name in _SPANNED
        and all(_ONE_VALUE[check.name](value, check.statistics) for value in (low, high))
        for check in facts.checks
    )


def _failure(contract: type[Contract], row: dict[str, Any]) -> Failure:
    """One of Pandera's failure cases in our words."""
    check, column, value = str(row["check"]), str(row["column"]), row["failure_case"]
    if check == "column_in_schema":
        return Failure("unknown_column", str(value), "is not a column of this table")
    if check == "column_in_dataframe":
        return Failure("missing_column", str(value), "is missing")
    index = None if row["index"] is None else int(row["index"])
    if check == "not_nullable":
        return Failure("empty_value", column, "must not be empty", index, None)
    if check.startswith("dtype"):
        return Failure("bad_value", column, f"must be {check[7:-2].lower()}", index, str(value))
    name = check.split("(", maxsplit=1)[0]
    reason = {"isin": "unknown_value", "str_matches": "bad_name"}.get(name, "out_of_range")
    return Failure(reason, column, rule_words(contract, column), index, None if value is None else str(value))


def rule_words(contract: type[Contract], column: str) -> str:
    """The column's rules in words: "must be -20 to 6000 N", "must be one of right, left"."""
    low = high = None
    for check in columns_of(contract)[column].checks:
        statistics = check.statistics
        if check.name == "isin":
            return "must be one of " + ", ".join(str(v) for v in statistics["allowed_values"])
        if check.name == "str_matches":
            return f"must be {NAME_RULE}"
        low = statistics.get("min_value", low)
        high = statistics.get("max_value", high)
    unit = unit_of(contract, column)
    tail = f" {unit}" if unit else ""
    if low is not None and high is not None:
        return f"must be {low:g} to {high:g}{tail}"
    if low is not None:
        return f"must be at least {low:g}{tail}"
    return f"must be at most {high:g}{tail}" if high is not None else "breaks a rule of this table"
