"""A device's recipe as a file of its own, device.toml, and how it comes into academy.toml.

A recipe in force is never written over: what a device exported before was read by it.
"""

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from warehouse import toml
from warehouse.devices import read_devices
from warehouse.errors import UnderfootError
from warehouse.settings import parse_settings

FILE = "device.toml"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_PARTS = ("layout", "columns")
Table = Mapping[str, Any]


def recipe_text(device: str, table: Table) -> str:
    """The `[device.NAME]` table of a device as TOML."""
    return "\n".join([f"[device.{device}]", *_lines(table), *_part_lines(device, table), ""])


def read_recipe(data: bytes) -> tuple[str, dict[str, Any]]:
    """The device and the table of a device.toml.

    Raises
        UnderfootError: it is not TOML, holds anything but one device, or its table is not right.
    """
    try:
        tables = toml.tables(data)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UnderfootError(f"{FILE} is not readable TOML: {error}; write it anew.") from error
    devices = tables.get("device")
    if set(tables) != {"device"} or not isinstance(devices, dict) or len(devices) != 1:
        raise UnderfootError(f"{FILE} must hold the table of one device and nothing else, as [device.mat].")
    (device, table), *_rest = devices.items()
    if not _NAME.fullmatch(device):
        raise UnderfootError(f"{FILE}: a device's name has letters, digits, - and _ only, up to 40 of them.")
    read_devices(devices, FILE)
    return device, table


def with_recipe(settings: bytes, device: str, table: Table) -> bytes:
    """academy.toml with the recipe of a device: one that it does not name yet, or has no recipe of.

    Everything else in it stays as it was written. With the same recipe in it already it is unchanged.

    Raises
        UnderfootError: the device has another recipe there, or academy.toml would not be right.
    """
    before = toml.tables(settings)
    there = before.get("device", {}).get(device)
    if there == table:
        return settings
    text = settings.decode("utf-8-sig")
    if there is None:
        added = f"{text.rstrip()}\n\n{recipe_text(device, table)}"
    else:
        added = _completed(text, device, table, there)
    expected = {**before, "device": {**before.get("device", {}), device: dict(table)}}
    if toml.tables(added) != expected:
        raise UnderfootError(f"[device.{device}] can't be added to academy.toml; write it there by hand.")
    data = added.encode()
    parse_settings(data)
    return data


def _completed(text: str, device: str, table: Table, there: Table) -> str:
    """The settings with what the table has beyond what is there, which has no recipe."""
    header = re.search(rf"^[ \t]*\[[ \t]*device\.{re.escape(device)}[ \t]*\][^\n]*\n?", text, re.MULTILINE)
    known = {key: value for key, value in table.items() if key in there}
    if known != there or any(part in there for part in _PARTS) or header is None:
        raise UnderfootError(
            f"The device {device} has another recipe in academy.toml; give this one a name of its own."
        )
    new = {key: value for key, value in table.items() if key not in there}
    lines = "".join(f"{line}\n" for line in _lines(new))
    head = text[: header.end()].rstrip("\n")
    rest = text[header.end() :].rstrip()
    return "\n".join([head, f"{lines}{rest}", "", *_part_lines(device, new), ""])


def _lines(table: Table) -> list[str]:
    return toml.lines({key: value for key, value in table.items() if key not in _PARTS})


def _part_lines(device: str, table: Table) -> list[str]:
    found: list[str] = []
    for part in (part for part in _PARTS if part in table):
        found += [f"[device.{device}.{part}]", *toml.lines(table[part])]
    return found
