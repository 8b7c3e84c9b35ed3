"""Numbers with their units, days, counts and lists, as a page writes them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

NBSP = "\u00a0"


def number(value: float | None, unit: str = "", decimals: int = 0, *, signed: bool = False) -> str:
    """A number with its unit, a real minus sign, and never a minus nought."""
    if value is None or value != value:  # noqa: PLR0124 - not a number
        return "–"
    rounded = round(value, decimals) + 0.0
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    text = f"{sign}{abs(rounded):.{decimals}f}"
    return f"{text}{NBSP}{unit}" if unit else text


def share(rate: float | None) -> str:
    """A rate of 0–1 as a percentage."""
    return number(None if rate is None else 100 * rate, "%")


def in_ten(rate: float) -> str:
    """A rate of 0–1 as swings of ten; "about" where it is not exact."""
    tens = round(10 * rate)
    return f"{'' if abs(10 * rate - tens) < 0.05 else 'about '}{tens} of 10"


def on(day: date | None) -> str:
    """A day: 7 April 2026."""
    return "–" if day is None else f"{day.day} {day:%B %Y}"


def count(n: int, one: str, many: str | None = None) -> str:
    """`n` things, in the right number."""
    return f"{n:,}{NBSP}{one if n == 1 else many or one + 's'}"


def listed(names: list[str]) -> str:
    """a, b and c."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


@dataclass(frozen=True)
class Measure:
    """One metric as it is shown: a row of academy.metric."""

    metric: str
    label: str
    unit: str
    explain: str
    better: str
    decimals: int
    phase: str = ""

    @classmethod
    def of(cls, row: Mapping[str, Any]) -> "Measure":
        """From a row of academy.metric."""
        names = ("metric", "label", "unit", "explain", "better", "decimals", "phase")
        return cls(**{name: row[name] for name in names})

    @property
    def axis(self) -> str:
        """Axis title: the unit; the picture's own title says what is measured."""
        return self.unit or self.label

    def say(self, value: float | None, *, signed: bool = False) -> str:
        """A value with its unit: 71 %, 0.14 s, +3 points; a dash when there is none."""
        # A unit that is a span, as of a correlation, says where a value may lie and is not said after it.
        return number(value, "" if " to " in self.unit else self.unit, self.decimals, signed=signed)

    def say_both(self, one: float | None, two: float | None, between: str, *, signed: bool = False) -> str:
        """Two values: 68 % → 71 %; a long unit is said once: 18 → 2 % of body weight."""
        unit = self.unit if len(self.unit) <= 3 else ""
        first = number(one, unit, self.decimals, signed=signed)
        return f"{first}{between}{self.say(two, signed=signed)}"
