"""Tables of lines (CSV, JSON lines) read into a contract's columns; every broken rule keeps its line."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import polars as pl

from ingest.cells import decode, open_text, read_strings, sniff
from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import Format, RefusedSwings
from ingest.refusals import AGAIN, DetailedRefusal, in_words, refusal, refuse
from warehouse.contracts.base import Contract, Failure, columns_of, dtypes_of, failures, required_of
from warehouse.errors import Refusal, Refused

Problem = tuple[str, str, str]  # reason, what, column
Prepare = Callable[[pl.DataFrame], pl.DataFrame]
SHOWN_PROBLEMS = 5
_TRUE, _FALSE = {"true", "yes", "1"}, {"false", "no", "0"}


@dataclass(frozen=True)
class Table:
    """Rows of a contract's columns, the line each was on, and every rule they break."""

    file: str
    frame: pl.DataFrame
    lines: list[int]
    broken: list[Failure]

    @property
    def problems(self) -> dict[int, Problem]:
        """The first broken rule of each row that breaks one."""
        found = {f.index: (f.reason, in_words(f, f.column), f.column) for f in reversed(self.broken)}
        return {row: found[row] for row in sorted(row for row in found if row is not None)}

    def refusal(self, todo: str, *broken: Failure, **place: Any) -> DetailedRefusal:
        """One refusal for broken rules: the first is named in full, the others are counted."""
        first = broken[0]
        what = in_words(first, first.column)
        if len(broken) > 1:
            what += f" (and {len(broken) - 1} more such {'place' if len(broken) == 2 else 'places'})"
        place |= {"file": self.file, "line": 1 if first.index is None else self.lines[first.index]}
        place |= {"column": first.column, "value": first.value, "rule": first.rule}
        return refusal(first.reason, what, todo, **place)

    def refuse_line(self, row: int, problem: Problem, session: str | None) -> Refusal:
        """Refusal of one line."""
        (reason, what, column), todo = problem, "correct the line and deliver it again"
        line = self.lines[row]
        return refusal(reason, what, todo, session=session, file=self.file, line=line, column=column)

    def refuse_swing(self, row: int, problem: Problem, session: str, fix: str = "it") -> Refusal:
        """Refusal of the swing that a line is about."""
        (reason, what, column), todo = problem, f"correct {fix} and deliver the session again"
        place = {"swing_no": self.frame["swing_no"][row], "line": self.lines[row], "column": column}
        return refusal(reason, what, todo, session=session, file=self.file, **place)

    def unmatched_swing(self, row: int, session: str) -> Refusal:
        """Refusal of a swing that session.toml does not list."""
        problem = ("unmatched_swing", "session.toml has no such swing", "swing_no")
        return self.refuse_swing(row, problem, session, "the number")

    def refused_swings(self, session: str) -> RefusedSwings:
        """Each swing with a broken line, refused by its first."""
        refused: RefusedSwings = {}
        for failure in self.broken:
            no = self.frame["swing_no"][failure.index or 0]
            if no not in refused:
                refused[no] = self.refusal(AGAIN, failure, session=session, swing_no=no)
        return refused


def read_table(
    data: bytes, file: str, contract: type[Contract], zone: ZoneInfo, prepare: Prepare = lambda cells: cells
) -> Table:
    """Read a CSV or JSON-lines file into a contract's columns and check every rule.

    Columns the contract allows to be absent come back as nulls. Rows that break a rule stay in the frame;
    `broken` names them. `prepare` may change the cells while they are still text.

    Raises
        Refused: the file can't be read, lacks a column, or has one that is not known.
    """
    decimal_comma = False
    if file.lower().endswith(".jsonl"):
        strings, lines = _json_lines(decode(data, file), file)
    else:
        text = open_text(data, file)
        decimal_comma = text.decimal_comma
        strings, lines = read_strings(text)
    strings = prepare(strings)
    _check_names(strings.columns, file, contract)
    frame, broken = _typed(strings, dtypes_of(contract), zone, decimal_comma=decimal_comma)
    marked = {(f.index, f.column) for f in broken}
    broken += [f for f in failures(contract, frame) if (f.index, f.column) not in marked]
    absent = {n: pl.lit(None, dtype=t) for n, t in dtypes_of(contract).items() if n not in frame.columns}
    broken.sort(key=lambda f: -1 if f.index is None else f.index)
    return Table(file, frame.with_columns(**absent), lines, broken)


def _check_names(names: Sequence[str], file: str, contract: type[Contract]) -> None:
    known = columns_of(contract)
    missing = next((name for name in required_of(contract) if name not in names), None)
    unknown = next((name for name in names if name not in known), None)
    if missing is not None:
        hint = f' (there is "{unknown}")' if unknown else ""
        what, todo = f"the column {missing} is missing{hint}", "add it and deliver it again"
        raise refuse("missing_column", what, todo, file=file, line=1, column=missing)
    if unknown is not None:
        what = f'"{unknown}" is not a column of this file; it has {", ".join(known)}'
        todo = "rename or remove it and deliver it again"
        raise refuse("unknown_column", what, todo, file=file, line=1, column=unknown)


_RULES = (
    (pl.Date, "must be a date such as 2026-04-07"),
    (pl.Datetime, "must be a time such as 2026-04-07T16:10:00+01:00"),
    (pl.Boolean, "must be true or false"),
    (pl.Float64, "must be a number"),
)


def _typed(
    strings: pl.DataFrame, types: dict[str, Any], zone: ZoneInfo, *, decimal_comma: bool
) -> tuple[pl.DataFrame, list[Failure]]:
    """Cast text cells; a cell that does not fit is named, and is null from here on."""
    cast = strings.select(_cast(name, types[name], decimal_comma=decimal_comma) for name in strings.columns)
    for name in strings.columns:
        if isinstance(types[name], pl.Datetime):
            times = [None if v is None else _utc(v, zone) for v in strings[name]]
            cast = cast.with_columns(pl.Series(name, times, dtype=pl.Datetime("us")))
    short = [a - b for a, b in zip(cast.null_count().row(0), strings.null_count().row(0), strict=True)]
    broken = []
    for name in (n for n, missing in zip(strings.columns, short, strict=True) if missing):
        rule = next((words for kind, words in _RULES if types[name] == kind), None)
        for row in (cast[name].is_null() & strings[name].is_not_null()).arg_true():
            value = strings[name][int(row)]
            broken.append(Failure("bad_value", name, rule or "must be a whole number", int(row), value))
    return cast, broken


def _cast(name: str, kind: Any, *, decimal_comma: bool) -> pl.Expr:
    cell = pl.col(name)
    if kind == pl.String or isinstance(kind, pl.Datetime):
        return cell
    if kind == pl.Date:
        return cell.str.to_date("%Y-%m-%d", strict=False)
    if kind == pl.Boolean:
        word = cell.str.to_lowercase()
        yes, no = word.is_in(list(_TRUE)), word.is_in(list(_FALSE))
        return pl.when(yes).then(statement=True).when(no).then(statement=False).alias(name)
    point = cell.str.replace(",", ".", literal=True) if decimal_comma else cell
    number = point.cast(pl.Float64, strict=False).fill_nan(None)
    if kind == pl.Float64:
        return number
    return pl.when(number == number.round()).then(number).cast(kind, strict=False).alias(name)


def _utc(written: str, zone: ZoneInfo) -> datetime | None:
    """UTC of an ISO time; without an offset it is the academy's own clock; a bare date is its midnight."""
    try:
        found = datetime.fromisoformat(written)
    except ValueError:
        return None
    aware = found if found.tzinfo is not None else found.replace(tzinfo=zone)
    return aware.astimezone(UTC).replace(tzinfo=None)


def _json_lines(text: str, file: str) -> tuple[pl.DataFrame, list[int]]:
    rows, lines = [], []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
        except ValueError:
            row = None
        if not isinstance(row, dict):
            what, todo = "the line is not one JSON object", "write one object a line and deliver it again"
            raise refuse("unreadable", what, todo, file=file, line=number)
        rows.append({str(name): _as_text(value) for name, value in row.items()})
        lines.append(number)
    names = list(dict.fromkeys(name for row in rows for name in row))
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String())), lines


def _as_text(value: Any) -> str | None:
    if value is None or value == "":
        return None
    return value.strip() if isinstance(value, str) else json.dumps(value)


class TableFormat(Format):
    """A table of lines under a contract: our own columns only, every broken rule with its line."""

    contract: type[Contract]
    zone: ClassVar[ZoneInfo] = ZoneInfo("UTC")

    @property
    def title(self) -> str:  # type: ignore[override]
        """The grain of the contract."""
        return (self.contract.__doc__ or "").strip().splitlines()[0].rstrip(".")

    def looks_like(self, path: Path) -> bool:
        """Whether every required column is there."""
        if path.suffix.lower() != ".csv":
            return False
        return set(required_of(self.contract)) <= set(sniff(path.read_bytes(), path.name).names)

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - our own columns need no device
        """Count the rows, and name the first lines that break a rule."""
        found = Explanation(path.name, self.title)
        try:
            table = read_table(path.read_bytes(), path.name, self.contract, self.zone)
        except Refused as refused:
            found.doubts.append(str(refused))
            return found
        found.facts["rows"] = str(len(table.frame))
        given = [n for n in columns_of(self.contract) if table.frame[n].null_count() < len(table.frame)]
        found.facts["columns with values"] = ", ".join(given) or "none"
        for broken in table.broken[:SHOWN_PROBLEMS]:
            where = "" if broken.index is None else f"line {table.lines[broken.index]}, "
            found.doubts.append(f"{where}{broken.column}: {broken.value} {broken.rule}")
        if len(table.broken) > SHOWN_PROBLEMS:
            found.doubts.append(f"and {len(table.broken) - SHOWN_PROBLEMS} more cells that break a rule")
        return found
