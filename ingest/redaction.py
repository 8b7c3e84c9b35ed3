"""Delivered files without one person: their rows go, and where others' texts name them the name is blanked.

Rows are told by the columns that hold people and sessions. In free text (notes, names of drills, comments of
a settings file, refusals) full names and e-mail addresses are blanked, and codes that could not be a usual
word or number. Measurements are never searched: a code like "101" would be found everywhere.
"""

import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from ingest.cells import decode, sniff
from warehouse.errors import Refused

BLANK = "[removed]"
_PEOPLE = ("student", "person", "author")
_TEXTS = ("text", "name", "how", "cautions", "given_by")
_TOKEN = re.compile(r"[A-Za-z0-9._-]+")
_SIGNS_IN = re.compile(
    r"""^\s*(?:people\s*\.\s*)?(["'][^"']*["']|[\w-]+)\s*=\s*(["'])([^"']*)\2\s*(?:#.*)?$"""
)


@dataclass(frozen=True)
class Identity:
    """Whose bytes they are: a student, and the guardians who answer for nobody else.

    `codes` are theirs in people.csv, `names` and `addresses` how they are called and reached, `sessions` the
    student's. `others` are codes and sessions of others, which stay even where they contain one of these.

    What is removed because it is old belongs to no one student: it has `sessions`, and notes of days before
    `notes_before` (ISO, in the academy's time zone) except discomfort in the places that are still `sore`.
    """

    student: str
    codes: frozenset[str]
    names: frozenset[str] = frozenset()
    addresses: frozenset[str] = frozenset()
    sessions: frozenset[str] = frozenset()
    others: frozenset[str] = frozenset()
    notes_before: str = ""
    time_zone: str = "UTC"
    sore: frozenset[str] = frozenset()

    def to_json(self) -> dict[str, Any]:
        """For the file that lets an interrupted run be finished."""
        return {
            name: value if isinstance(value, str) else sorted(value) for name, value in asdict(self).items()
        }

    @classmethod
    def from_json(cls, noted: Mapping[str, Any]) -> "Identity":
        """What `to_json` gave."""
        values: dict[str, Any] = {
            name: value if isinstance(value, str) else frozenset(value) for name, value in noted.items()
        }
        return cls(**values)

    @cached_property
    def words(self) -> frozenset[str]:
        """What is looked for in texts. A code of digits alone, or of one or two letters, is not."""
        lettered = {code for code in self.codes if re.search("[A-Za-z]", code)}
        telling = {code for code in lettered if len(code) > 2 or re.search(r"\d", code)}
        return frozenset(telling | self.names | self.addresses | self.sessions)

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        longest_first = sorted(self.words, key=lambda word: (-len(word), word))
        found = "|".join(re.escape(word).replace(r"\ ", r"\s+") for word in longest_first) or r"(?!)"
        return re.compile(rf"(?<![^\W_])(?:{found})(?![^\W_])", re.IGNORECASE)

    def is_in(self, text: str) -> bool:
        """Whether a text names them."""
        return self.blanked(text) != text

    def blanked(self, text: str) -> str:
        """A text without their names, addresses, codes and sessions."""

        def blank(found: re.Match[str]) -> str:
            start, end = found.span()
            whole = next((m for m in _TOKEN.finditer(text) if m.start() <= start and end <= m.end()), None)
            return found[0] if whole is not None and whole[0] in self.others else BLANK

        return self._pattern.sub(blank, text)

    def without_addresses(self, text: str) -> str:
        """A text without their addresses alone, whatever stands beside them."""
        for address in self.addresses:
            text = re.sub(re.escape(address), BLANK, text, flags=re.IGNORECASE)
        return text

    def owns(self, row: Mapping[str, Any]) -> bool:
        """Whether a row is about them."""
        named = any(row.get(c) in self.codes for c in _PEOPLE) or row.get("session") in self.sessions
        return named or self._is_past(row)

    def _is_past(self, row: Mapping[str, Any]) -> bool:
        """Whether a row is a note of long ago; one that says that something hurts stays until it is over."""
        if not self.notes_before or "at" not in row or "kind" not in row:
            return False
        if row["kind"] == "discomfort" and (row.get("code") or "") in self.sore:
            return False
        try:
            at = datetime.fromisoformat(str(row["at"]).strip())
        except ValueError:
            return False
        day = at.astimezone(ZoneInfo(self.time_zone)).date() if at.tzinfo else at.date()
        return day.isoformat() < self.notes_before


def table_without(data: bytes, file: str, who: Identity) -> bytes | None:
    """A CSV or JSON-lines file without a person; None when no row is left.

    A row that goes leaves a line of empty cells, so that every other row keeps its line number. The
    rest stays as it was, byte for byte. A file that can't be read as a table is blanked as text.
    """
    try:
        text = decode(data, file)
        separator, names = sniff(data, file).separator, sniff(data, file).names
    except Refused:
        return data
    if file.lower().endswith(".jsonl"):
        found, rows = _json_lines_without(text, who)
    else:
        try:
            found, rows = _rows_without(text, separator, names, who)
        except csv.Error:
            return _encoded(data, text, who.blanked(text))
    return _encoded(data, text, found) if rows else None


def _encoded(data: bytes, text: str, found: str) -> bytes:
    """The text in the encoding it came in; the same bytes where nothing has changed."""
    if found == text:
        return data
    for mark, encoding in (
        (b"\xff\xfe", "utf-16-le"),
        (b"\xfe\xff", "utf-16-be"),
        (b"\xef\xbb\xbf", "utf-8"),
    ):
        if data.startswith(mark):
            return mark + found.encode(encoding)
    return found.encode()


def _rows_without(text: str, separator: str, names: tuple[str, ...], who: Identity) -> tuple[str, int]:
    lines = list(io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=separator)
    out, rows, last = lines[:1], 0, 1
    next(reader, None)
    for cells in reader:
        span, last = lines[last : reader.line_num], reader.line_num
        row = {name: cell.strip() for name, cell in zip(names, cells, strict=False)}
        if who.owns(row):
            out += [separator * (len(names) - 1) + _line_end(line) for line in span]
            continue
        rows += any(row.values())
        changed = [_cell(name, cell, who) for name, cell in zip(names, cells, strict=False)]
        changed += cells[len(names) :]
        out += span if changed == cells else [_written(changed, separator, _line_end(span[-1]))]
    return "".join(out), rows


def _cell(name: str, cell: str, who: Identity) -> str:
    if name == "guardian_of" and any(code in who.codes for code in re.split(r"[;,\s]+", cell)):
        return " ".join(code for code in re.split(r"[;,\s]+", cell) if code and code not in who.codes)
    if name == "given_by" and cell.strip() in who.codes:
        return BLANK
    return who.blanked(cell) if name in _TEXTS else cell


def _written(cells: list[str], separator: str, line_end: str) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator, lineterminator=line_end).writerow(cells)
    return text.getvalue()


def _line_end(line: str) -> str:
    return line[len(line.rstrip("\r\n")) :]


def _json_lines_without(text: str, who: Identity) -> tuple[str, int]:
    out, rows = [], 0
    for line in text.splitlines(keepends=True):
        try:
            row = json.loads(line)
        except ValueError:
            row = {}
        if isinstance(row, dict) and who.owns(row):
            out.append(_line_end(line))
            continue
        rows += bool(line.strip())
        changed = json_without(row, who) if isinstance(row, dict) else row
        out.append(line if changed == row else json.dumps(changed, ensure_ascii=False) + _line_end(line))
    return "".join(out), rows


def json_without(value: Any, who: Identity) -> Any:
    """A JSON value with every text in it blanked, the names of its keys too."""
    if isinstance(value, str):
        return BLANK if value in who.codes else who.blanked(value)
    if isinstance(value, list):
        return [json_without(one, who) for one in value]
    if isinstance(value, dict):
        return {json_without(key, who): json_without(one, who) for key, one in value.items()}
    return value


def settings_without(data: bytes, who: Identity) -> bytes:
    """academy.toml without who they sign in as, and without them in its comments."""
    out = []
    for line in data.decode("utf-8-sig", "replace").splitlines(keepends=True):
        entry = _SIGNS_IN.match(line.rstrip("\r\n"))
        if entry is not None and entry[3] in who.codes and "@" in entry[1]:
            continue
        out.append(_comment_blanked(line, who))
    return who.without_addresses("".join(out)).encode()


def calendar_without(data: bytes, who: Identity) -> bytes:
    """A calendar without them in its texts; lines that were folded are whole first (RFC 5545, 3.1)."""
    text = data.decode("utf-8-sig", "replace")
    lines = re.sub(r"\r?\n[ \t]", "", text).splitlines(keepends=True)
    found = "".join(lines)
    without = who.without_addresses("".join(map(who.blanked, lines)))
    return data if without == found else without.encode()


def comments_without(data: bytes, who: Identity) -> bytes:
    """A session's session.toml without them in its comments: what it says is another's."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data
    found = "".join(_comment_blanked(line, who) for line in text.splitlines(keepends=True))
    return data if found == text else found.encode()


def _comment_blanked(line: str, who: Identity) -> str:
    head, mark, comment = line.rpartition("#")
    return f"{head}{mark}{who.blanked(comment)}" if mark else line
