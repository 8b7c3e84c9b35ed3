"""`[device.NAME]` of academy.toml: the recipe by which a device's own files are read.

A recipe has two parts. `[device.NAME.layout]` says how its files are laid out; without it a file is plain
delimited text whose first line is the header. `[device.NAME.columns]` says how each column of ours follows
from the file's: (the sum of its columns × scale + offset), in its unit, counted from its origin.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.toml import is_number, is_whole
from warehouse.vocabulary import DEVICE_KINDS, PLATE_COLUMNS, written_names

UNKNOWN = "?"
BOTH_FEET = "both"
ORIGINS = ("heel", "toe", "middle")
TOTAL, FOOT = "total_n", "foot"
HELPERS = (TOTAL, FOOT, "foot_n", "foot_along_pct", "foot_heel_n", "foot_across_mm")
_TURNS = {"rows": ("heels_first", "toes_first"), "columns": ("left_first", "right_first")}
_KEYS = ("kind", "columns", "layout", "rows", "rate_hz", "lead_platform")
_COLUMN_KEYS = ("column", "unit", "scale", "offset", "origin", "share_of", "rest_of")
_SHARED = (BOTH_FEET, *(f"{foot}_n" for foot in ("lead", "trail", "left", "right", FOOT)))


@dataclass(frozen=True)
class ColumnMap:
    """How one column of ours follows from a device's own: (the sum of `columns` × scale + offset) in `unit`.

    origin: where a position counts from: "heel", "toe", "middle", or mm ahead of the back of the heel.
    share_of: the value is % of this load ("both": of both feet's); rest_of: it is what is left of it.
    """

    columns: tuple[str, ...]
    unit: str | None = None
    scale: float = 1.0
    offset: float = 0.0
    origin: str | float = "heel"
    share_of: str | None = None
    rest_of: str | None = None


@dataclass(frozen=True)
class Layout:
    """How a device's files are laid out; what is None is found out from the file, where it says so itself.

    header: "line", "groups" (the line above it names the feet) or "none" (columns go by their place).
    swings: "column", "blocks", "clock" (restarts or pauses), "files" (by the number in the name), "sheets" or
    "found" (the clock runs on, and swings are found by how the load moves).
    feet: "columns", "rows" (a column names the foot), "files" or "sheets" (by the word in the name).
    cells: "columns", "rows" (a channel a row), "values" (a value a row, in `value`, of what `channel` names).
    clock: "column", or "order": evenly spaced samples at the device's rate_hz.
    file_name: how a file dropped by itself is named, such as "{student}_{date}_{time}"; student, started_at:
    columns that say so.
    """

    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    header: str = "line"
    units_row: bool = False
    sheet: str | None = None
    swings: str = "column"
    feet: str = "columns"
    cells: str = "columns"
    channel: str | None = None
    value: str | None = None
    clock: str = "column"
    file_name: str | None = None
    student: str | None = None
    started_at: str | None = None

    @property
    def says_whose(self) -> bool:
        """Whether a file by itself says whose it is, or when."""
        return any(part is not None for part in (self.file_name, self.student, self.started_at))


NAME_PARTS = {
    "student": r"(?P<student>.+?)", "date": r"(?P<date>\d{4}-?\d\d-?\d\d|\d\d\.\d\d\.\d{4})",
    "time": r"(?P<time>\d\d[:.h-]?\d\d(?:[:.-]?\d\d)?)", "club": r"(?P<club>[^_]+?)", "any": r".*?",
}  # fmt: skip
"""Named parts of a `file_name`, and what each may be; a day with dots has the day of the month first."""


def file_name_pattern(file_name: str) -> str:
    """A regular expression for the names that a `file_name` describes, without their ending.

    Raises
        ValueError: a part is none of `NAME_PARTS`, or one but "any" comes twice.
    """
    pieces = re.split(r"\{(\w*)\}", file_name)
    parts = pieces[1::2]
    named = [part for part in parts if part != "any"]
    if not set(parts) <= NAME_PARTS.keys() or len(set(named)) < len(named):
        raise ValueError(file_name)
    return "".join(NAME_PARTS[piece] if k % 2 else re.escape(piece) for k, piece in enumerate(pieces))


_WAYS = {
    "delimiter": (",", ";", "\t", "|", " "),
    "decimal": (".", ","),
    "thousands": (",", ".", "'", " "),
    "header": ("line", "groups", "none"),
    "swings": ("column", "blocks", "clock", "files", "sheets", "found"),
    "feet": ("columns", "rows", "files", "sheets"),
    "cells": ("columns", "rows", "values"),
    "clock": ("column", "order"),
}


@dataclass(frozen=True)
class DeviceSettings:
    """One `[device.NAME]` table of academy.toml; `layout` is None for plain delimited text."""

    name: str
    kind: str
    columns: Mapping[str, ColumnMap]
    raw: Mapping[str, Any] = field(default_factory=dict)
    layout: Layout | None = None

    @property
    def rate_hz(self) -> float | None:
        """Samples a second, where the table gives them."""
        rate = self.raw.get("rate_hz")
        return float(rate) if is_number(rate) else None


def read_devices(tables: Any, where: str, *, past: bool = False) -> Mapping[str, DeviceSettings]:
    """Read every `[device.NAME]` table; `where` names the file in what is said.

    In settings of the `past` unknown keys and columns are passed over, as they were then.

    Raises
        UnderfootError: not tables, an unknown kind, key or column of ours, or a value of another type.
    """
    if not isinstance(tables, dict):
        raise UnderfootError(
            f"{where}: device = {tables!r} is no table; write each device as a table of its own, "
            'as in [device.mat] with kind = "pressure_mat".'
        )
    return MappingProxyType(
        {name: _device(name, table, f"{where}: [device.{name}", past=past) for name, table in tables.items()}
    )


def _device(name: str, table: Any, at: str, *, past: bool) -> DeviceSettings:
    kind = table.get("kind") if isinstance(table, dict) else None
    if kind not in DEVICE_KINDS:
        raise UnderfootError(f'{at}] has kind = "{kind}"; use one of {", ".join(DEVICE_KINDS)}.')
    if not past:
        _check_known(f"{at}]", table, _KEYS, "a device")
        _check_turns(name, table, at)
        _check_numbers(f"{at}]", table)
    mapped = table.get("columns", {})
    columns = {
        ours: _column(f"{at}.columns] {ours}", ours, theirs, past=past)
        for ours, theirs in (mapped.items() if isinstance(mapped, dict) else ())
    }
    layout = _layout(name, table["layout"], f"{at}.layout]", past=past) if "layout" in table else None
    return DeviceSettings(name, kind, MappingProxyType(columns), MappingProxyType(dict(table)), layout)


def _check_known(at: str, table: Mapping[str, Any], known: Collection[str], of: str) -> None:
    unknown = next((key for key in table if key not in known), None)
    if unknown is not None:
        raise UnderfootError(
            f'{at} has the unknown line "{unknown}"; correct or remove it, '
            f"the lines of {of} are {', '.join(known)}."
        )


def _check_turns(name: str, table: Mapping[str, Any], at: str) -> None:
    for key, ways in _TURNS.items():
        mapped = key == "columns" and isinstance(table.get(key), dict)
        if key in table and table[key] not in ways and not mapped:
            its_table = f" or a [device.{name}.columns] table" if key == "columns" else ""
            raise UnderfootError(
                f'{at}] has {key} = {table[key]!r}; write "{ways[0]}", "{ways[1]}"{its_table}.'
            )


def _check_numbers(at: str, table: Mapping[str, Any]) -> None:
    rate, platform = table.get("rate_hz", UNKNOWN), table.get("lead_platform", 1)
    if rate == UNKNOWN:
        rate = 1  # a table as it is proposed: only a file that counts frames needs the rate, and asks for it
    if not is_number(rate) or not 0 < rate <= 1e6:
        todo = "write the samples a second as a number, as in rate_hz = 100"
        raise UnderfootError(f"{at} has rate_hz = {rate!r}; {todo}.")
    if not is_whole(platform):
        todo = "write the platform's number, as in lead_platform = 1"
        raise UnderfootError(f"{at} has lead_platform = {platform!r}; {todo}.")


def _layout(name: str, table: Any, at: str, *, past: bool) -> Layout:
    if not isinstance(table, dict):
        raise UnderfootError(f"{at} is no table; write its lines below [device.{name}.layout].")
    known = {one.name: one for one in fields(Layout)}
    if not past:
        _check_known(at, table, known, "a layout")
    given = {key: value for key, value in table.items() if key in known}
    for key, value in given.items():
        ways = _WAYS.get(key)
        right = isinstance(value, bool) if key == "units_row" else isinstance(value, str)
        if not right or (ways is not None and value not in ways):
            usual = "true or false" if key == "units_row" else "a text"
            choice = ", ".join(map(_quoted, ways)) if ways else usual
            raise UnderfootError(f"{at} has {key} = {value!r}; write one of {choice}.")
    if not past and "file_name" in given:
        try:
            file_name_pattern(given["file_name"])
        except ValueError:
            parts = ", ".join(f"{{{part}}}" for part in NAME_PARTS)
            raise UnderfootError(
                f"{at} has file_name = {given['file_name']!r}; write a name with the parts {parts}, none but "
                'the last twice, as in file_name = "{student}_{date}_{time}".'
            ) from None
    return Layout(**given)


def _quoted(way: str) -> str:
    return '"\\t"' if way == "\t" else f'"{way}"'


def _column(at: str, ours: str, theirs: Any, *, past: bool) -> ColumnMap:
    entry = {"column": theirs} if isinstance(theirs, str) else theirs
    if ours not in (*written_names(), *HELPERS) and not past:
        raise UnderfootError(
            f"{at} is not a column of a plate file; map one of {', '.join(PLATE_COLUMNS)}, "
            "with left or right in place of lead and trail where the file has sides."
        )
    example = f'as in {ours} = {{ column = "Clock", unit = "ms" }}'
    named = entry.get("column") if isinstance(entry, dict) else None
    columns = tuple(named) if isinstance(named, list) else (named,)
    if not isinstance(entry, dict) or not columns or not all(isinstance(one, str) for one in columns):
        raise UnderfootError(f"{at} must name the file's column, {example}.")
    unknown = next((key for key in entry if key not in _COLUMN_KEYS), None)
    if unknown is not None and not past:
        raise UnderfootError(f'{at} has the unknown key "{unknown}"; correct or remove it, {example}.')
    unit = entry.get("unit")
    if unit is not None and not isinstance(unit, str):
        todo = 'write one such as unit = "lbf"'
        raise UnderfootError(f"{at} has unit = {unit!r}, which is no unit's name; {todo}.")
    found = {key: entry[key] for key in _COLUMN_KEYS[1:] if key in entry}
    if not past:
        _check_arithmetic(at, found)
    return ColumnMap(tuple(map(str, columns)), **found)


def _check_arithmetic(at: str, found: Mapping[str, Any]) -> None:
    for key in ("scale", "offset"):
        if key in found and not is_number(found[key]):
            raise UnderfootError(f"{at} has {key} = {found[key]!r}; write a number, as in {key} = 0.5.")
    origin = found.get("origin", ORIGINS[0])
    if origin not in ORIGINS and not is_number(origin):
        raise UnderfootError(
            f'{at} has origin = {origin!r}; write "heel", "toe" or "middle", whichever is 0, '
            "or how many mm ahead of the back of the heel 0 is."
        )
    for key in ("share_of", "rest_of"):
        if key in found and found[key] not in (*_SHARED, TOTAL):
            raise UnderfootError(
                f"{at} has {key} = {found[key]!r}; write one of {', '.join((*_SHARED, TOTAL))}."
            )
