"""What can go wrong, each said in one sentence: what, where, what was expected, what to do."""

from dataclasses import dataclass, replace
from typing import Any


class UnderfootError(Exception):
    """Something the person at the keyboard can fix; the message is one plain sentence."""

    exit_code = 1


class CallError(UnderfootError):
    """The call itself was wrong: a missing home, an unknown student, a query that is not a query."""

    exit_code = 2


class AccessError(UnderfootError):
    """The viewer asked for something they may not see."""


class UnknownViewerError(AccessError, CallError):
    """The roster has no such person, or they have left, or it gives them no role."""


@dataclass(frozen=True)
class Refusal:
    """One refused thing: a delivery, a session or a single swing.

    `reason` is a short code for scripts; `sentence` is for people and already holds the place in words.
    `line` counts from 1 with the header as line 1; `column` is the file's own column name.
    """

    reason: str
    sentence: str
    delivery: str | None = None
    session: str | None = None
    swing_no: int | None = None
    file: str | None = None
    line: int | None = None
    column: str | None = None

    def within(self, **place: object) -> "Refusal":
        """Return the same refusal with these places filled in where empty (filled ones are kept)."""
        empty = {name: value for name, value in place.items() if getattr(self, name) is None}
        return replace(self, **empty)  # type: ignore[arg-type]

    def facts(self) -> dict[str, Any]:
        """These fields by name, without those that a subclass adds."""
        names = ("delivery", "session", "swing_no", "file", "line", "column", "reason", "sentence")
        return {name: getattr(self, name) for name in names}


class Refused(UnderfootError):  # noqa: N818 - it is the outcome of a load, not a failure of the program
    """Raised while reading a delivery; carries the refusal that ends up in the report."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.sentence)
        self.refusal = refusal

    def __reduce__(self) -> tuple[Any, ...]:
        """Deliveries are read in another process."""
        return type(self), (self.refusal,)
