"""Aims that coach and student agreed on: whether they show, with the doubt, and when a change would show."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl

from dashboard.kept import kept
from dashboard.queries import people, season
from dashboard.queries.lesson import as_of
from dashboard.section import Section
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.numbers import Measure, count, joined, listed, lowered, number, on, quoted, share
from warehouse.access import Reader
from warehouse.vocabulary import NOT_REACHED, NOT_YET, REACHED, TOO_SOON

Z90 = 1.645
SURE = mark(
    "An aim is checked at every visit from the day it was agreed until its due date. Of a hundred aims in "
    "which nothing changes, about five will seem to show a change at some point; with several aims, each "
    "counts separately. A change that shows is a change for the better, but not always as large as hoped."
)
_AGREED = mark("Agreed on {day}, due by {due}. To get better: {what}.")
_VERDICTS = Words({
    REACHED: "The change has shown since the session of {looked}: {what} changed for the better.",
    NOT_YET: "The change does not show yet.",
    NOT_REACHED: "The change did not show by the due date.",
    TOO_SOON: "Too soon to say. It takes four sessions up to the day it was agreed and one after it, each "
              "with everything in the aim measured, and an academy with enough students to compare. So far "
              "there are {before} and {since}.",
})  # fmt: skip
# What follows from no change showing, by whether one on course would have shown; None: not known.
_SILENCE = {
    True: mark("If it were on course for what was agreed, it would have shown by now ({share})."),
    False: mark("With so few visits it may not show even when on course, so nothing can be read into it."),
    None: "",
}
_BRIEFLY = Words({
    REACHED: "The change has shown since {looked}.", NOT_YET: "It does not show yet.",
    NOT_REACHED: "It did not show by then.", TOO_SOON: "Too soon to say.",
})  # fmt: skip
_PLAINLY = Words({
    REACHED: "It has shown in your swings since {looked}: well done.",
    NOT_YET: "It does not show in your swings yet. Change takes time, and needs several visits to show.",
    NOT_REACHED: "It did not show in your swings by then. Talk with your coach about what comes next.",
    TOO_SOON: "It takes a few more visits to see it.",
})  # fmt: skip
# What the note form says before an aim is saved, and puts changes and times into.
_FORECAST = {
    "one": mark(
        "{rhythm}, a change of {least} would show {soon} ({share}). With a visit every week: {weekly}. "
        "With twice the swings a visit: {double}. Measures that change together show sooner."
    ),
    "several": mark(
        "{rhythm}, together they would show {soon} ({share}) if the first changed by {least} and each of "
        "the others by as many of its own smallest worthwhile changes. With a visit every week: {weekly}. "
        "With twice the swings a visit: {double}."
    ),
    "when": mark(
        "When a change of {size} would show: {usual}; with a visit every week, {weekly}; with twice the "
        "swings a visit, {double}."
    ),
}
# How often a change shows by when it is said to: reckoned at 80 %, seen in 72 and 77 % (tests/FIGURES.md).
OFTEN = mark("in 7 to 8 cases of 10")
LATELY = timedelta(days=28)


def sections(chosen: StudentSeason) -> list[Section]:
    """A section for each agreed aim of the student, the newest first."""
    found = season.agreed_aims(chosen.reader, chosen.student)
    return [_section(chosen, row) for row in found.iter_rows(named=True)]


def _section(chosen: StudentSeason, row: Mapping[str, Any]) -> Section:
    agreed = _(_AGREED).format(day=on(row["agreed"]), due=on(row["due"]), what=_what(chosen, row))
    verdict = _VERDICTS[row["label"]].format(
        looked=on(row["looked"]), what=_("together they") if len(row["metrics"]) > 1 else _("it"),
        before=row["n_before"], since=row["n_since"],
    )  # fmt: skip
    file = _("agreed aim of {name}").format(name=chosen.person["name"])
    return Section(
        table=(_parts(chosen, row), file) if row["changes"] else None,
        sentences=(agreed, joined(verdict, _silence(row), _doubt(chosen, row)), _power(chosen, row)),
    )


def briefly(chosen: StudentSeason, *, plainly: bool = False) -> tuple[str, ...]:
    """What became of each aim that still runs or ended lately; `plainly`: as its own student reads it."""
    since = as_of(chosen.reader) - LATELY
    found = season.agreed_aims(chosen.reader, chosen.student)
    ended = pl.when(label=REACHED).then("looked").otherwise("due")
    words = _PLAINLY if plainly else _BRIEFLY
    start = (
        _("You and your coach agreed on {day} to work on this until {due}: {what}.")
        if plainly
        else _(_AGREED)
    )
    said = []
    for row in found.filter(ended >= since).iter_rows(named=True):
        agreed = start.format(day=on(row["agreed"]), due=on(row["due"]), what=_what(chosen, row))
        verdict = words[row["label"]].format(looked=on(row["looked"]))
        silence = _silence(row) if row["would_show"] and not plainly else ""
        said.append(joined(agreed, verdict, silence))
    return tuple(said)


def _what(chosen: StudentSeason, row: Mapping[str, Any]) -> str:
    """An aim's measures; several in quotation marks, as a name may have a comma of its own."""
    names = [chosen.name(metric) for metric in row["metrics"]]
    return lowered(names[0]) if len(names) == 1 else listed([quoted(name) for name in names])


def _silence(row: Mapping[str, Any]) -> str:
    """What follows from no change showing; "" where one shows or nobody can say."""
    words = _SILENCE[row["would_show"]]
    return _(words).format(share=share(0.8)) if words else ""


def _finer(chosen: StudentSeason, metric: str) -> Measure:
    """The measure with one more decimal, for changes smaller than its values' last digit."""
    measure = sentences.in_points(chosen.measures[metric])
    return replace(measure, decimals=measure.decimals + 1)


def _size(chosen: StudentSeason, row: Mapping[str, Any], changes: float) -> str:
    """A number of smallest worthwhile changes in the measure's own unit, or in each measure's."""
    sizes = {
        metric: _finer(chosen, metric).say(changes * smallest)
        for metric, smallest in zip(row["metrics"], row["worthwhile"], strict=True)
    }
    if len(sizes) == 1:
        return next(iter(sizes.values()))
    each = _("{size} in {measure}")
    return listed([each.format(size=sizes[m], measure=quoted(chosen.name(m))) for m in sizes])


def _doubt(chosen: StudentSeason, row: Mapping[str, Any]) -> str:
    """The change for the better so far; for several measures together, the share of what was agreed."""
    if row["change"] is None:
        return ""
    change, lo, hi = row["change"], row["change"] - Z90 * row["se"], row["change"] + Z90 * row["se"]
    if len(row["metrics"]) == 1:
        said = _("Up to {day} the change for the better is {change}, {share} between {interval}.")
        shown, times = _finer(chosen, row["metrics"][0]), row["worthwhile"][0]
    else:
        said = _("Up to {day} they have together gone {change} of the way, {share} between {interval}.")
        shown, times = Measure("", "", "%", "", "up", 0), 100 / row["wanted"]
    interval = shown.say_both(lo * times, hi * times, _(" and "), signed=True)
    change = shown.say(change * times, signed=True)
    return said.format(day=on(row["last_day"]), change=change, share=share(0.9), interval=interval)


@kept
def forecasts(reader: Reader, student: str) -> dict[str, Any]:
    """What the note form says of an aim before it is saved: what would show, by measures and due date.

    `sets`: the codes of measures in order → the student's rhythm and, for each number of weeks, what change
    would show by then at this rhythm, with weekly visits and with twice the swings, in smallest worthwhile
    changes; `sizes`: each measure's smallest worthwhile change, decimals and unit.
    """
    measures = people.measures(reader)
    sets: dict[str, dict[str, Any]] = {}
    sizes: dict[str, tuple[float, int, str]] = {}
    for row in season.aim_forecasts(reader, student).iter_rows(named=True):
        days = count(round(row["gap_days"]), "day")
        about = {
            "rhythm": _rhythm(row),
            "none": _("With a visit every {days}, there will be none by then.").format(days=days),
            "by": [],
        }
        least = [row[f"least{name}"] for name in ("", "_weekly", "_double_swings")]
        by = sets.setdefault(" ".join(row["metrics"]), about)["by"]
        by.append([row["weeks"], *(one and float(f"{one:.3g}") for one in least)])
        for metric, worthwhile in zip(row["metrics"], row["worthwhile"], strict=True):
            shown = measures[metric]
            unit = shown.say(0).removeprefix(number(0, "", shown.decimals))
            sizes[metric] = (worthwhile, shown.decimals, unit)
    told = sorted({one[0] for row in sets.values() for one in row["by"]})
    words = {name: _(text).replace("{share}", _(OFTEN)) for name, text in _FORECAST.items()}
    return {
        "sets": sets, "sizes": sizes, "decimal": number(0, "", 1)[1], "words": words,
        "soon": {weeks: _("in {weeks}").format(weeks=count(weeks, "week")) for weeks in told},
        "never": _("not within {weeks}").format(weeks=count(told[-1], "week")) if told else "",
    }  # fmt: skip


def _rhythm(row: Mapping[str, Any]) -> str:
    return _("With {swings} a visit and a visit every {days}").format(
        swings=count(row["swings"], "full_swing"), days=count(round(row["gap_days"]), "day")
    )


def _power(chosen: StudentSeason, row: Mapping[str, Any]) -> str:
    """What could be known beforehand: when the wanted change would show, and what weekly visits would buy."""
    if row["gap_days"] is None:
        return ""
    day = on(row["show_by"])
    names = {
        "rhythm": _rhythm(row),
        "size": _size(chosen, row, row["wanted"]),
        "day": day,
        "share": _(OFTEN),
    }
    if row["show_by"] is None:
        said = _("{rhythm}, a change of {size} would probably not show within a year.").format(**names)
    else:
        said = _("{rhythm}, a change of {size} would show by {day} ({share}).").format(**names)
    if row["least"] is not None:
        said += " " + _("By {due}, a change of {least} would.").format(
            due=on(row["due"]), least=_size(chosen, row, row["least"])
        )
    if row["least_weekly"] is not None:
        said += " " + _("With a visit every week: {least}.").format(
            least=_size(chosen, row, row["least_weekly"])
        )
    if row["least_double_swings"] is not None:
        said += " " + _("With twice the swings a visit: {least}.").format(
            least=_size(chosen, row, row["least_double_swings"])
        )
    return said


def _parts(chosen: StudentSeason, row: Mapping[str, Any]) -> pl.DataFrame:
    """Each measure's own change, and how much it counts."""
    rows = []
    for metric, change, se, weight in zip(
        row["metrics"], row["changes"], row["ses"], row["weights"], strict=True
    ):
        shown = chosen.measures[metric]
        ends = shown.say_both(change - Z90 * se, change + Z90 * se, _(" to "), signed=True)
        rows.append((shown.label, shown.say(change, signed=True), ends, _counts_for(weight)))
    headings = [_("Measure"), _("Change since"), _("Probably (9 in 10)"), _("Counts for")]
    return pl.DataFrame(rows, schema=headings, orient="row")


def _counts_for(weight: float) -> str:
    """A measure's share of what is judged together, in words where it is all or nothing of it."""
    if weight > 0.995:
        return _("everything")
    return share(weight) if weight >= 0.005 else _("nothing: the others say it better")
