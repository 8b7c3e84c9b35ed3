"""What is found out about an unknown file and its columns."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
BODY_N = (300.0, 1700.0)  # what both feet of a golfer carry, N


@dataclass(frozen=True)
class ColumnGuess:
    """What one column of a file is taken for: our name (None: not taken), its unit, and how that was decided.

    low and high: of its values, `first`: the first few. A file's parts, shares and totals have the names of
    ROLES.
    """

    theirs: str
    ours: str | None
    unit: str | None
    how: str
    low: float | None = None
    high: float | None = None
    first: tuple[float | None, ...] = ()


@dataclass(frozen=True)
class Question:
    """Something only the owner of the device knows: what is asked, about which columns, with its choices.

    key: what is answered: a column's name, or "unit", "origin", "position unit", "clock" or "rate".
    No choices: a number is asked for. value: what the unit that is asked for would make sense of.
    """

    key: str
    asks: str
    columns: tuple[str, ...]
    choices: tuple[str, ...]
    sentence: str
    value: float | None = None


@dataclass(frozen=True)
class Sheet:
    """A file's columns as the guess needs them.

    numbers: (rows,) NaN where not a number. clocks: columns of times written out, and how. feet: each
    row's foot where a row holds one foot, else None. has_swings: the layout tells swings apart by itself.
    """

    numbers: Mapping[str, Array]
    units: Mapping[str, str]
    clocks: Mapping[str, str]
    feet: NDArray[np.str_] | None = None
    foot_column: str | None = None
    has_swings: bool = False
    has_clock: bool = True
    rate_hz: float | None = None


@dataclass(frozen=True)
class Knowing:
    """What is known beside a file that is explained: answers by a question's key, and the golfer's mass.

    `device`: the name to use in the proposed device table.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    body_mass_kg: float | None = None
    device: str = "mine"


NOTHING_KNOWN = Knowing()


@dataclass
class Explanation:
    """How a file would be read: facts in words, its columns, what is asked, what is wrong, a recipe to paste.

    The recipe (`table`) is there once nothing is asked any more. `recording` has the swings of a file that
    runs on (`FoundSwing`, each with its number), `shares` whose they seem to be (`Share`).
    """

    file: str
    kind: str
    facts: dict[str, str] = field(default_factory=dict)
    columns: list[ColumnGuess] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    table: str | None = None
    recording: list[dict[str, Any]] = field(default_factory=list)
    shares: list[dict[str, Any]] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """The object that `underfoot load --explain FILE --json` prints."""
        names = ("ours", "unit", "how", "low", "high")
        columns = [
            {"column": c.theirs, "first": list(c.first), **{name: getattr(c, name) for name in names}}
            for c in self.columns
        ]
        return {
            "file": self.file, "kind": self.kind, "facts": self.facts, "columns": columns,
            "questions": [asdict(question) for question in self.questions], "doubts": self.doubts,
            "device_table": self.table, "recording": self.recording, "shares": self.shares,
        }  # fmt: skip
