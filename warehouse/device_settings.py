"""`[device.NAME]` of academy.toml: what an export's columns are called, and in which units."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from warehouse.errors import UnderfootError
from warehouse.vocabulary import DEVICE_KINDS, PLATE_COLUMNS

UNKNOWN = "?"
_TURNS = {"rows": ("heels_first", "toes_first"), "columns": ("left_first", "right_first")}
_KEYS = ("kind", "columns", "rows", "rate_hz", "lead_platform")
_COLUMN_KEYS = ("column", "unit")


@dataclass(frozen=True)
class ColumnMap:
    """One column of a device's own files: its name there, and its unit when it is not ours."""

    column: str
    unit: str | None = None


@dataclass(frozen=True)
class DeviceSettings:
    """One `[device.NAME]` table of academy.toml."""

    name: str
    kind: str
    columns: Mapping[str, ColumnMap]
    raw: Mapping[str, Any]


def written_names() -> list[str]:
    """Every name a plate column may have: ours, and with left and right for lead and trail."""
    sided = [
        f"{side}_{name.removeprefix('lead_')}"
        for name in PLATE_COLUMNS
        if name.startswith("lead_")
        for side in ("left", "right")
    ]
    return [*PLATE_COLUMNS, *sided]


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
    return MappingProxyType({name: _device(name, table, where, past=past) for name, table in tables.items()})


def _device(name: str, table: Any, where: str, *, past: bool) -> DeviceSettings:
    kind = table.get("kind") if isinstance(table, dict) else None
    if kind not in DEVICE_KINDS:
        raise UnderfootError(
            f'{where}: [device.{name}] has kind = "{kind}"; use one of {", ".join(DEVICE_KINDS)}.'
        )
    if not past:
        _check_keys(name, table, where)
        _check_numbers(name, table, where)
    mapped = table.get("columns", {})
    columns = {
        ours: _column(name, ours, theirs, where, past=past)
        for ours, theirs in (mapped.items() if isinstance(mapped, dict) else ())
    }
    return DeviceSettings(name, kind, MappingProxyType(columns), MappingProxyType(dict(table)))


def _check_keys(name: str, table: Mapping[str, Any], where: str) -> None:
    unknown = next((key for key in table if key not in _KEYS), None)
    if unknown is not None:
        raise UnderfootError(
            f'{where}: [device.{name}] has the unknown line "{unknown}"; correct or remove it, '
            f"the lines of a device are {', '.join(_KEYS)}."
        )
    for key, ways in _TURNS.items():
        if (
            key in table
            and table[key] not in ways
            and not (key == "columns" and isinstance(table[key], dict))
        ):
            its_table = f" or a [device.{name}.columns] table" if key == "columns" else ""
            raise UnderfootError(
                f'{where}: [device.{name}] has {key} = {table[key]!r}; write "{ways[0]}", '
                f'"{ways[1]}"{its_table}.'
            )


def _check_numbers(name: str, table: Mapping[str, Any], where: str) -> None:
    rate, platform = table.get("rate_hz", UNKNOWN), table.get("lead_platform", 1)
    if rate == UNKNOWN:
        rate = 1  # a table as it is proposed: only a file that counts frames needs the rate, and asks for it
    if isinstance(rate, bool) or not isinstance(rate, int | float) or not 0 < rate <= 1e6:
        raise UnderfootError(
            f"{where}: [device.{name}] has rate_hz = {rate!r}; write the samples a second as a number, "
            "as in rate_hz = 100."
        )
    if isinstance(platform, bool) or not isinstance(platform, int):
        raise UnderfootError(
            f"{where}: [device.{name}] has lead_platform = {platform!r}; write the platform's number, "
            "as in lead_platform = 1."
        )


def _column(name: str, ours: str, theirs: Any, where: str, *, past: bool) -> ColumnMap:
    entry = {"column": theirs} if isinstance(theirs, str) else theirs
    at = f"{where}: [device.{name}.columns] {ours}"
    if ours not in written_names() and not past:
        raise UnderfootError(
            f"{at} is not a column of a plate file; map one of {', '.join(PLATE_COLUMNS)}, "
            "with left or right in place of lead and trail where the file has sides."
        )
    if not isinstance(entry, dict) or not isinstance(entry.get("column"), str):
        raise UnderfootError(
            f'{at} must name the file\'s column, as in {ours} = {{ column = "Clock", unit = "ms" }}.'
        )
    unknown = next((key for key in entry if key not in _COLUMN_KEYS), None)
    if unknown is not None and not past:
        raise UnderfootError(
            f'{at} has the unknown key "{unknown}"; correct or remove it, '
            f'as in {ours} = {{ column = "Clock", unit = "ms" }}.'
        )
    unit = entry.get("unit")
    if unit is not None and not isinstance(unit, str):
        raise UnderfootError(
            f'{at} has unit = {unit!r}, which is no unit\'s name; write one such as unit = "lbf".'
        )
    return ColumnMap(entry["column"], unit)
