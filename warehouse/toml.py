"""TOML: what others wrote is read only where that takes moments, and what we write reads back as it was."""

import json
import re
import sys
import tomllib
from collections.abc import Mapping
from datetime import date
from typing import Any, TypeGuard

MOST_BYTES = 1 << 20  # a session of 1,000 swings, each with its events, is a third of it
MOST_PARTS = 16  # of a dotted key; ours have three
MOST_NESTED = 16  # brackets and braces within one another; ours are two
_TEXTS = re.compile(r"\"\"\".*?\"\"\"|'''.*?'''|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'", re.DOTALL)
_REMARKS = re.compile(r"#[^\n]*")
# Keys joined by dots, where quoted ones stand as q.
_MANY_PARTS = re.compile(rf"(?<![^\s.=\[\]{{}},])(?:[^\s.=\[\]{{}},]+[ \t]*\.[ \t]*){{{MOST_PARTS}}}")


def tables(data: bytes | str) -> dict[str, Any]:
    """The tables of a TOML file, with or without a byte order mark.

    Raises
        UnicodeDecodeError: it is not UTF-8.
        TOMLDecodeError: it is not TOML, is larger than any of ours, or has a key of so many parts or so many
            brackets within one another that reading it would take minutes.
    """
    if len(data) > MOST_BYTES:
        raise tomllib.TOMLDecodeError(f"The file is larger than {MOST_BYTES >> 20} MB")
    text = data.decode("utf-8-sig") if isinstance(data, bytes) else data.removeprefix("\ufeff")
    bare = _REMARKS.sub("", _TEXTS.sub(lambda found: "q" + "\n" * found[0].count("\n"), text))
    if found := _MANY_PARTS.search(bare):
        raise _at(bare, found.start(), f"A key has more than {MOST_PARTS} parts")
    depth = 0
    for bracket in re.finditer(r"[\[\]{}]", bare):
        depth = depth + 1 if bracket[0] in "[{" else max(0, depth - 1)
        if depth > MOST_NESTED:
            raise _at(bare, bracket.start(), f"More than {MOST_NESTED} brackets are within one another")
    return tomllib.loads(text)


def is_number(value: object) -> TypeGuard[float]:
    """Whether a value is a number that a float can hold; true and false are not."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def is_whole(value: object) -> TypeGuard[int]:
    """Whether a value is a whole number; true and false are not."""
    return isinstance(value, int) and not isinstance(value, bool)


def lines(table: Mapping[str, Any]) -> list[str]:
    """A line of TOML for each key of a table; what is None is left out."""
    return [f"{key} = {_value(value)}" for key, value in table.items() if value is not None]


def _value(value: Any) -> str:
    """As TOML writes it, which for texts, numbers, truth values and lists is as JSON does."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(lines(value)) + " }"
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _at(text: str, place: int, what: str) -> tomllib.TOMLDecodeError:
    return tomllib.TOMLDecodeError(f"{what} (at line {text.count(chr(10), 0, place) + 1})")
