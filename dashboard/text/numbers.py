"""Numbers with their units, days, counts and lists, as the language in use writes them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import format_decimal, get_decimal_symbol

from dashboard.text.catalogue import _, language, locale, mark_plural, ngettext

NBSP = "\u00a0"
# What `count` counts, by its name in the code.
THINGS = {
    "check": mark_plural("{n} check", "{n} checks"),
    "clean_swing": mark_plural("{n} clean swing", "{n} clean swings"),
    "change": mark_plural("{n} change", "{n} changes"),
    "finding": mark_plural("{n} change or new fault", "{n} changes and new faults"),
    "coach": mark_plural("{n} coach", "{n} coaches"),
    "comparison": mark_plural("{n} comparison", "{n} comparisons"),
    "combination": mark_plural("{n} combination", "{n} combinations"),
    "day": mark_plural("{n} day", "{n} days"),
    "delivery": mark_plural("{n} delivery", "{n} deliveries"),
    "delivery_waits": mark_plural("{n} delivery waits", "{n} deliveries wait"),
    "dose": mark_plural("{n} dose", "{n} doses"),
    "drill": mark_plural("{n} drill", "{n} drills"),
    "fault": mark_plural("{n} fault", "{n} faults"),
    "file": mark_plural("{n} file", "{n} files"),
    "figure": mark_plural("{n} figure", "{n} figures"),
    "full_swing": mark_plural("{n} full swing", "{n} full swings"),
    "film": mark_plural("{n} film", "{n} films"),
    "line": mark_plural("{n} line", "{n} lines"),
    "measure": mark_plural("{n} measure", "{n} measures"),
    "note": mark_plural("{n} note", "{n} notes"),
    "other": mark_plural("{n} other", "{n} others"),
    "other_academy": mark_plural("{n} other academy", "{n} other academies"),
    "other_fault": mark_plural("{n} other fault", "{n} other faults"),
    "practice": mark_plural("{n} practice", "{n} practices"),
    "session": mark_plural("{n} session", "{n} sessions"),
    "person": mark_plural("{n} person", "{n} people"),
    "signal": mark_plural("{n} signal", "{n} signals"),
    "steady_stand": mark_plural("{n} steady stand", "{n} steady stands"),
    "student": mark_plural("{n} student", "{n} students"),
    "swing": mark_plural("{n} swing", "{n} swings"),
    "swing_or_delivery": mark_plural("{n} swing or delivery", "{n} swings and deliveries"),
    "value": mark_plural("{n} value", "{n} values"),
    "visit": mark_plural("{n} visit", "{n} visits"),
    "time": mark_plural("{n} time", "{n} times"),
    "week": mark_plural("{n} week", "{n} weeks"),
}


def number(value: float | None, unit: str = "", decimals: int = 0, *, signed: bool = False) -> str:
    """A number with its unit, a real minus sign, and never a minus nought."""
    if value is None or value != value:  # noqa: PLR0124 - not a number
        return "–"
    rounded = round(value, decimals) + 0.0
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    text = f"{sign}{abs(rounded):.{decimals}f}".replace(".", _decimal_sign(locale()))
    return f"{text}{NBSP}{_(unit)}" if unit else text


# Babel's own way to a formatted number is thirty times as long, and a page may show thousands.
_decimal_sign = cache(get_decimal_symbol)


def share(rate: float | None) -> str:
    """A rate of 0–1 as a percentage."""
    return number(None if rate is None else 100 * rate, "%")


def in_ten(rate: float) -> str:
    """A rate of 0–1 as swings of ten; "about" where it is not exact."""
    tens = round(10 * rate)
    exact = abs(10 * rate - tens) < 0.05
    return (_("{tens} of 10") if exact else _("about {tens} of 10")).format(tens=tens)


def on(day: date | None) -> str:
    """A day: 7 April 2026."""
    return "–" if day is None else format_date(day, "long", locale())


def short_day(day: date) -> str:
    """A day in a table: 7 Apr 2026."""
    return format_date(day, "medium", locale())


def month(day: date) -> str:
    """The month of a day: May."""
    return format_date(day, "LLLL", locale())


def count(n: int, thing: str) -> str:
    """`n` of one of `THINGS`: 1 swing, 12 swings."""
    one, many = THINGS[thing]
    text = ngettext(one, many, n).replace("{n} ", f"{{n}}{NBSP}")
    return text.format(n=format_decimal(n, locale=locale()))


def capitalized(text: str) -> str:
    """`text` with its first letter a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def lowered(text: str) -> str:
    """`text` as it stands inside a sentence: in small letters, but in German, whose nouns have capitals."""
    return text if language() == "de" else text.lower()


def quoted(words: str) -> str:
    """Words between the language's quotation marks."""
    return _("“{words}”").format(words=words)


def joined(*sentences: str | None) -> str:
    """Sentences one after the other, without those that are empty or not there."""
    return " ".join(filter(None, sentences))


def listed(names: Sequence[str]) -> str:
    """a, b and c."""
    return format_list(list(names), locale=locale())


Band = tuple[float | None, float | None]  # the ends of a target; None: open on that side


@dataclass(frozen=True)
class Measure:
    """One metric as it is shown: a row of academy.metric, in the language in use."""

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
        names = ("metric", "unit", "better", "decimals", "phase")
        shown = {name: row[name] for name in names}
        return cls(**shown, label=_(row["label"]), explain=_(row["explain"]))

    @property
    def axis(self) -> str:
        """Axis title: what is measured, and its unit."""
        return f"{self.label} ({_(self.unit)})" if self.unit else self.label

    def say(self, value: float | None, *, signed: bool = False) -> str:
        """A value with its unit: 71 %, 0.14 s, +3 points; a dash when there is none."""
        # A unit that is a span, as of a correlation, says where a value may lie and is not said after it.
        return number(value, "" if " to " in self.unit else self.unit, self.decimals, signed=signed)

    def say_both(self, one: float | None, two: float | None, between: str, *, signed: bool = False) -> str:
        """Two values: 68 % → 71 %; a long unit is said once: 18 → 2 % of body weight."""
        unit = self.unit if len(self.unit) <= 3 else ""
        first = number(one, unit, self.decimals, signed=signed)
        return f"{first}{between}{self.say(two, signed=signed)}"

    def say_target(self, lo: float | None, hi: float | None) -> str:
        """A target: 65 % to 75 %, 65 % or more, 75 % or less."""
        if lo is None and hi is None:
            return _("not set")
        if hi is None:
            return _("{value} or more").format(value=self.say(lo))
        if lo is None:
            return _("{value} or less").format(value=self.say(hi))
        return self.say_both(lo, hi, _(" to "))
