"""The sentence of each signal of the weekly review: what a coach would say, with units and how sure it is."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.text.catalogue import _, mark, ngettext
from dashboard.text.cautions import LASTING
from dashboard.text.labels import area_name
from dashboard.text.numbers import Measure, listed, number, on, quoted

Row = Mapping[str, Any]
IN_FULL = 2  # changes written out; those after them are counted
WITH_CLUBS = {
    "wedge": mark("with wedges"), "iron": mark("with irons"), "hybrid": mark("with hybrids"),
    "wood": mark("with woods"), "driver": mark("with the driver"), "putter": mark("with the putter"),
}  # fmt: skip


@dataclass(frozen=True)
class Names:
    """What metrics and faults are called, by code."""

    measures: Mapping[str, Measure]
    faults: Mapping[str, str]


def signal_sentence(kind: str, evidence: Sequence[Row], names: Names) -> str:
    """What one signal says. `evidence`: its rows of season.signal_evidence in order, one or more.

    Rows of a refused delivery also have `sentence`, the refusal's own (null when it is out of reach), and
    those of a drill `drill_name`.
    """
    return _SENTENCES[kind](evidence, names)


def _clubs(row: Row) -> str:
    return _(WITH_CLUBS[row["club_family"]])


def _sure(p: float) -> str:
    """A chance as a whole percentage, rounded down, never 100 %."""
    return number(min(int(100 * p), 99), "%")


def _moved(rows: Sequence[Row], names: Names) -> str:
    """Lead share at impact with irons: 68 % → 71 %; the first two in full, the others counted."""
    parts = []
    for row in rows[:IN_FULL]:
        measure = names.measures[row["subject"]]
        change = measure.say_both(row["start_value"], row["value_now"], " → ")
        parts.append(_("{measure} {clubs}: {change}").format(
            measure=measure.label, clubs=_clubs(row), change=change
        ))  # fmt: skip
    if (more := len(rows) - IN_FULL) > 0:
        parts.append(ngettext("{n} more", "{n} more", more).format(n=more))
    return "; ".join(parts)


def _change(rows: Sequence[Row], names: Names, lead: str, opposite: str) -> str:
    """The surest change, what says the same beside it, and what goes the other way."""
    by_role = {role: [row for row in rows if row["role"] == role] for role in ("main", "beside", "against")}
    sentences = [lead.format(change=_moved(by_role["main"], names), sure=_sure(by_role["main"][0]["p"]))]
    if by_role["beside"]:
        sentences.append(_("Also: {changes}.").format(changes=_moved(by_role["beside"], names)))
    if by_role["against"]:
        sentences.append(opposite.format(changes=_moved(by_role["against"], names)))
    return " ".join(sentences)


def _improving(rows: Sequence[Row], names: Names) -> str:
    lead = _("{change}. Better: {sure} sure that it matters.")
    return _change(rows, names, lead, _("Slipping as well: {changes}."))


def _slipping(rows: Sequence[Row], names: Names) -> str:
    lead = _("{change}. Worse: {sure} sure that it matters.")
    return _change(rows, names, lead, _("Improving as well: {changes}."))


def _new_fault(rows: Sequence[Row], names: Names) -> str:
    """Faults that were seldom before, surest first."""
    one = _("{fault} {clubs} in {flagged} of {usable} swings now, {flagged_before} of {usable_before} before")
    faults = "; ".join(
        one.format(**{**row, "fault": names.faults[row["subject"]], "clubs": _clubs(row)}) for row in rows
    )
    return _("{faults}. More often than before: {sure} sure.").format(faults=faults, sure=_sure(rows[0]["p"]))


def _outside_band(rows: Sequence[Row], names: Names) -> str:
    """What has been outside its target in each of the last sessions and does not gain."""
    sides = {
        "under": _("{measure} {clubs} at {value}, below the target"),
        "over": _("{measure} {clubs} at {value}, above the target"),
    }
    values = []
    for row in rows:
        measure = names.measures[row["subject"]]
        values.append(sides[row["side"]].format(
            measure=measure.label, clubs=_clubs(row), value=measure.say(row["value_now"])
        ))  # fmt: skip
    return _("{values}, in each of the last {n} sessions and not gaining.").format(
        n=rows[0]["sessions"], values="; ".join(values)
    )


def _idle_drill(rows: Sequence[Row], _names: Names) -> str:
    """A drill that is set on although it is one to stop."""
    return ngettext(
        "“{drill}” was set {n} time. Across the academy, no worthwhile gain from it has lasted.",
        "“{drill}” was set {n} times. Across the academy, no worthwhile gain from it has lasted.",
        rows[0]["doses"],
    ).format(drill=rows[0]["drill_name"], n=rows[0]["doses"])


def _aim_met(rows: Sequence[Row], names: Names) -> str:
    """A named aim that is met, and what shows now."""
    met, then = rows[0], rows[1]
    label = names.measures[met["subject"]].label if met["subject"] in names.measures else None
    return _("“{aim}” is on target. {fault} {clubs} in {flagged} of {usable} swings now.").format(
        aim=label or names.faults[met["subject"]], fault=names.faults[then["subject"]], clubs=_clubs(then),
        flagged=then["flagged"], usable=then["usable"],
    )  # fmt: skip


def _agreed(rows: Sequence[Row], names: Names, said: str) -> str:
    """An agreed aim's measures, and what is said of them together."""
    labels = [names.measures[row["subject"]].label for row in rows]
    what = labels[0] if len(labels) == 1 else listed([quoted(label) for label in labels])
    return said.format(what=what, day=on(rows[0]["day"]))


def _agreed_reached(rows: Sequence[Row], names: Names) -> str:
    return _agreed(rows, names, _("{what}: the agreed change for the better has shown since {day}."))


def _agreed_missed(rows: Sequence[Row], names: Names) -> str:
    if not rows[0]["sessions"]:
        return _agreed(rows, names, _("{what}: due by {day}, and not measured since it was agreed."))
    return _agreed(rows, names, _("{what}: due by {day}, and the change did not show by then."))


def _agreed_silent(rows: Sequence[Row], names: Names) -> str:
    said = _("{what}: if on course for what was agreed by {day}, a change would show by now. It does not.")
    return _agreed(rows, names, said)


def _agreed_due(rows: Sequence[Row], names: Names) -> str:
    return _agreed(rows, names, _("{what}: due by {day}, and the change does not show yet."))


def _unmeasured(rows: Sequence[Row], _names: Names) -> str:
    row = rows[0]
    if row["days"] is None:
        return _("Enrolled and not measured yet.")
    return ngettext(
        "Not measured for {n} day, last on {day}.", "Not measured for {n} days, last on {day}.", row["days"]
    ).format(n=row["days"], day=on(row["day"]))


def _discomfort(rows: Sequence[Row], _names: Names) -> str:
    """Open discomfort: named, never explained."""
    one = _("{place}, noted on {day}")
    places = "; ".join(one.format(place=area_name(row["subject"]), day=on(row["day"])) for row in rows)
    said = (
        _("Discomfort, still open: {places}. {lasting}")
        if any(row["lasts"] for row in rows)
        else _(
            "Discomfort, still open: {places}. No drill that loads it until it is over; if it persists, see "
            "a physician or physiotherapist."
        )
    )
    return said.format(places=places, lasting=_(LASTING))


def _eye_and_plate(rows: Sequence[Row], names: Names) -> str:
    """Noted and not measured, or measured and never noted."""
    noted = _(
        "{fault}: noted in {seen} of {sessions} sessions, measured in {flagged} of {usable} swings. "
        "Look at it together."
    )
    never = _(
        "{fault}: measured in {flagged} of {usable} swings over {sessions} sessions, and never noted there. "
        "On purpose?"
    )
    return " ".join(
        (noted if row["seen"] else never).format(**{**row, "fault": names.faults[row["subject"]]})
        for row in rows
    )


def _refused(rows: Sequence[Row], _names: Names) -> str:
    """A delivery that did not load, in the words of its refusal."""
    row = rows[0]
    if not row["sentence"]:
        return _("Delivery {name} was refused.").format(name=row["subject"])
    said = _("Delivery {name} was refused: {reason}").format(name=row["subject"], reason=row["sentence"])
    if (more := row["refusals"] - 1) > 0:
        said += " " + ngettext("(and {n} more)", "(and {n} more)", more).format(n=more)
    return said


_SENTENCES: dict[str, Callable[[Sequence[Row], Names], str]] = {
    "agreed_missed": _agreed_missed, "agreed_silent": _agreed_silent, "agreed_due": _agreed_due,
    "agreed_reached": _agreed_reached,
    "discomfort": _discomfort, "slipping": _slipping, "improving": _improving, "new_fault": _new_fault,
    "outside_band": _outside_band, "idle_drill": _idle_drill, "aim_met": _aim_met,
    "unmeasured": _unmeasured, "eye_and_plate": _eye_and_plate, "refused": _refused,
}  # fmt: skip
