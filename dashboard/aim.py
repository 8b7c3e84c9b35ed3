"""What to work on first by the season's one rule, and what a coach says of it, in words."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts.shoe import Shoe, Weight
from dashboard.queries import lesson, people, season
from dashboard.student_season import StudentSeason
from dashboard.text.advice import ADVICE
from dashboard.text.catalogue import Words, _, ngettext
from dashboard.text.numbers import listed, lowered, number, quoted, share
from dashboard.text.sentences import between
from warehouse.access import Reader
from warehouse.vocabulary import GOES_TOGETHER, NOT_CLEAR, TOO_FEW

NOTHING = "nothing"
OPEN = ("agreed", "named", "earliest_cause", "most_often")
TITLES = Words({
    "costs": "What it costs", "feel": "What to feel", "on_film": "How to see it", "drill": "A drill",
})  # fmt: skip
# Aims that are about no fault, as a student hears them.
ONE_THING = Words({
    "finish_lead_share_pct": "Finish on the front foot", "backswing_s": "Take your time going back",
})  # fmt: skip


@dataclass(frozen=True)
class Aim:
    """A row of season.aim; see its schema."""

    chosen: StudentSeason
    code: str | None
    reason: str
    named: str | None
    named_met: bool | None
    drill: str | None
    cause: str | None
    follows: tuple[str, ...]
    next_code: str | None = None

    @property
    def is_open(self) -> bool:
        """Whether there is something to work on; what was won is only kept."""
        return self.reason in OPEN

    @property
    def fault(self) -> str | None:
        """The fault it is about: its own, or of those that read the metric the one that shows most now."""
        if self.code in self.chosen.fault_names:
            return self.code
        kin = lesson.kindred_aims(self.chosen.reader, self.code)[1:] if self.code else []
        now = self.chosen.fault_rates.filter(span="now")
        shown = {row["code"]: row["rate"] for row in now.iter_rows(named=True) if row["code"] in kin}
        return max(shown, key=lambda fault: shown[fault], default=None)

    @property
    def because(self) -> str:
        """Why this comes first; "" without a link."""
        return because(self.code, self.cause, self.follows, self.chosen.name)

    @property
    def numbers(self) -> str:
        """How often the next fault shows with the first and without it; "" without a link."""
        first = self.cause or self.code
        rows = season.fault_chains(self.chosen.reader, self.chosen.student, self.chosen.season)
        link = rows.filter(earlier=first, label=GOES_TOGETHER)
        return (
            "" if link.is_empty() or not self.because else link_numbers(self.chosen, link.row(0, named=True))
        )


def because(aim: str | None, cause: str | None, follows: Sequence[str], name: Callable[[str], str]) -> str:
    """Why an aim comes first: what follows from it, or what a named aim follows from; "" without a link."""
    if cause is not None and aim is not None:
        return _("Look at “{cause}” first: “{aim}” follows from it.").format(
            cause=lowered(name(cause)), aim=lowered(name(aim))
        )
    if not follows:
        return ""
    return ngettext(
        "First this, because {faults} follows from it.",
        "First this, because {faults} follow from it.",
        len(follows),
    ).format(faults=listed([quoted(lowered(name(fault))) for fault in follows]))


def in_brief(row: Mapping[str, Any], name: Callable[[str], str]) -> str:
    """A row of season.aim in a sentence or two; "" where there is nothing to work on."""
    if row["aim"] is None or row["reason"] not in OPEN:
        return ""
    why = because(row["aim"], row["cause"], row["follows"], name)
    return f"{_('Working on: {aim}.').format(aim=name(row['aim']))} {why}".strip()


def aim_of(chosen: StudentSeason, *, shared: bool = False) -> Aim:
    """What the student works on first; `shared`: as far as the student may know it."""
    row = season.aim(chosen.reader, chosen.student, chosen.family, chosen.season, shared=shared)
    if row is None:
        return Aim(chosen, None, NOTHING, None, None, None, None, ())
    return Aim(
        chosen, row["aim"], row["reason"], row["named"], row["named_met"], row["drill"], row["cause"],
        tuple(row["follows"]), row["next_aim"],
    )  # fmt: skip


def link_numbers(chosen: StudentSeason, row: dict[str, Any]) -> str:
    """How much more often the later fault shows with the earlier one, in this student's swings or visits."""
    lo, hi = (number(100 * row[end], "", 0, signed=True) for end in ("difference_lo", "difference_hi"))
    said = _(
        "{later} was there in {with_it} of visits with “{earlier}” and in {without} of those without "
        "(difference: {interval} points). Seen by eye, visit by visit: a bad day may look the same."
    )
    if not row["by_visit"]:
        said = _(
            "{later} shows in {with_it} of swings with “{earlier}” and in {without} of those without "
            "(difference: {interval} points)."
        )
        if row["by_eye"]:
            said += " " + _("One of the two is seen by eye.")
    return said.format(
        later=chosen.name(row["later"]),
        earlier=lowered(chosen.name(row["earlier"])),
        with_it=share(row["share_with"]),
        without=share(row["share_without"]),
        interval=between(lo, hi),
    )


def chain_lines(chosen: StudentSeason) -> list[str]:
    """What follows from what in the student's swings; then the pairs that are not clear, and too few."""
    rows = season.fault_chains(chosen.reader, chosen.student, chosen.season)
    pairs: dict[str, list[str]] = {}
    lines = []
    for row in rows.iter_rows(named=True):
        pair = f"{chosen.name(row['earlier'])} → {lowered(chosen.name(row['later']))}"
        pairs.setdefault(row["label"], []).append(pair)
        if row["label"] == GOES_TOGETHER:
            lines.append(f"{pair}. {link_numbers(chosen, row)}")
    others = {
        NOT_CLEAR: _("Looked at, and not clear: {pairs}."),
        TOO_FEW: _("Too few swings with and without the first to compare: {pairs}."),
    }
    return lines + [
        said.format(pairs="; ".join(pairs[code])) for code, said in others.items() if code in pairs
    ]


def in_short(chosen: StudentSeason, aim: str, fault: str | None) -> str:
    """An aim as a student hears it, in about five words."""
    said = ONE_THING.get(aim) or _(ADVICE.get(fault or "", {}).get("in_short", ""))
    return said or chosen.name(aim)


def shoe(fault: str | None) -> Shoe | None:
    """Where the weight should be and is with a fault, to be drawn; None of a fault of the academy's own."""
    drawn = ADVICE.get(fault or "", {}).get("shoe")
    return None if drawn is None else Shoe(drawn["foot"], Weight(*drawn["should"]), Weight(*drawn["was"]))


def usual_drill(reader: Reader, fault: str | None) -> str:
    """What is usually done about a fault, the academy's own words first; "" where there are none."""
    return advice(reader, fault).get(TITLES["drill"], "")


def advice(reader: Reader, fault: str | None) -> dict[str, str]:
    """Title → what a coach says of a fault; of a fault of the academy's own, what academy.toml gives."""
    if fault is None:
        return {}
    usual, own = ADVICE.get(fault, {}), people.fault_about(reader, fault)
    found = {part: own.get(part) or _(usual.get(part, "")) for part in TITLES}
    return {TITLES[part]: text for part, text in found.items() if text}
