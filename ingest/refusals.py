"""Refusals in one sentence: the place, what was found, what to do."""

import csv
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from warehouse.contracts.base import Failure
from warehouse.errors import Refusal, Refused

UNREADABLE = (
    Refused, pl.exceptions.PolarsError, ValueError, ArithmeticError, LookupError, TypeError, RecursionError,
    OSError, csv.Error,
)  # fmt: skip
"""What readers raise over bytes they can't make sense of: reported as one sentence, never shown as raised."""
AGAIN = "correct it and deliver the session again"


@dataclass(frozen=True)
class DetailedRefusal(Refusal):
    """A refusal with the parts of its sentence, as why.json keeps them."""

    value: str | None = None
    rule: str | None = None
    todo: str | None = None
    proposal: dict[str, Any] | None = None  # of a file that waits for an answer: what it would be

    def of_session(self, session: str) -> "DetailedRefusal":
        """The same refusal, its sentence opening with the session, when it named none."""
        if self.session is not None:
            return self
        sentence = f"Session {session}, {self.sentence}"
        if self.swing_no is not None:
            swing = f"Swing {self.swing_no}"
            sentence = self.sentence.replace(swing, f"{swing} of {session}", 1)
        return replace(self, session=session, sentence=sentence)


def refusal(
    reason: str, what: str, todo: str, *, value: str | None = None, rule: str | None = None, **place: Any
) -> DetailedRefusal:
    """Build a refusal whose sentence opens with its place: session, swing_no, file, line, column.

    `what` says what was found and what was expected, `todo` how to correct it; neither ends in a full stop.
    What is not text, such as bytes of a file's name in another encoding, is escaped.
    """
    what, todo = escaped(what), escaped(todo)
    place = {name: escaped(part) if isinstance(part, str) else part for name, part in place.items()}
    session, swing_no, line, column = (place.get(n) for n in ("session", "swing_no", "line", "column"))
    owner = f"Session {session}" if session else None
    if swing_no is not None:
        owner = f"Swing {swing_no} of {session}" if session else f"Swing {swing_no}"
    at = " ".join(part for part in (place.get("file"), f"line {line}" if line is not None else None) if part)
    opening = ", ".join(part for part in (owner, at, f"column {column}" if column else None) if part)
    sentence = f"{opening}: {what}; {todo}." if opening else f"{what[:1].upper()}{what[1:]}; {todo}."
    value, rule = (None if part is None else escaped(part) for part in (value, rule))
    return DetailedRefusal(reason, sentence, **place, value=value, rule=rule or what, todo=todo)


def refuse(reason: str, what: str, todo: str, **place: Any) -> Refused:
    """The exception to raise for `refusal(...)`."""
    return Refused(refusal(reason, what, todo, **place))


def escaped(text: str) -> str:
    """The text with what UTF-8 can't hold, such as a stray byte of a file's name, written as an escape."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def in_words(failure: Failure, column: str) -> str:
    """What was found and expected, for one broken rule."""
    if failure.reason == "empty_value":
        return f"{column} is empty but {failure.rule}"
    if failure.reason == "missing_column":
        return f"the column {column} is missing"
    if failure.reason == "unknown_column":
        return f'"{column}" is not a column of this file'
    return f"{column} is {shown(failure.value)} but {failure.rule}"


def shown(value: object) -> str:
    """A value as it is written in a sentence: short, on one line."""
    if value is None:
        return "empty"
    text = " ".join(str(value).split())
    try:
        return f"{float(text):.10g}"
    except ValueError:
        return f'"{text[:40]}…"' if len(text) > 40 else f'"{text}"'


def refused_for(
    error: Exception, name: str, *, session: str | None = None, file: str | None = None
) -> Refused:
    """The refusal of a delivery over which its reader raised one of UNREADABLE."""
    if isinstance(error, Refused):
        return error
    what = f"{name} can't be read ({type(error).__name__})"
    todo = "export it again and deliver it whole"
    refused = refuse("unreadable", what, todo, session=session, file=file)
    refused.__cause__ = error
    return refused


def of_swing(found: Refusal, no: int, session: str) -> Refusal:
    """A refusal of a swing's own file as one of that swing."""
    sentence = f"Swing {no} of {session}, {found.sentence}"
    return replace(found, session=session, swing_no=no, sentence=sentence)
