"""Which drill comes first for an aim, which others there are, and which to stop: one rule for every page.

Of the roster's drills with this aim, and what is usually done about its fault, those come first that have
kept most with students like this one; then those of which too little is known. What age, falls or pain rule
out, what harms, and what can have kept nothing that matters is never offered.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import polars as pl

from dashboard import safety
from dashboard.aim import Aim, usual_drill
from dashboard.queries import lesson
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.catalogue import _
from dashboard.text.labels import AGES
from dashboard.text.numbers import Measure, count, lowered, number
from dashboard.text.sentences import AT_PACE, FEW_SWINGS
from warehouse.access import Reader
from warehouse.body import Body, Exercise
from warehouse.vocabulary import HARMS, HELPS, PACES, STOP, age, age_group

MORE = 2  # drills offered beside the first


@dataclass(frozen=True)
class Dose:
    """How often a drill is done at a time, how many swings are measured after it, each at which pace.

    `usual`: nobody has set it, and its own words say at which pace it ends.
    """

    reps: int
    pace: str
    measured: int
    measured_at: str
    usual: bool = False

    @property
    def sentence(self) -> str:
        """The dose in words: 10 times, at a slow pace; then measure 5 swings at a slow pace."""
        done = _("{times}, slowly") if self.usual else _("{times}, at {pace}")
        then = (
            _("then measure {swings} at {pace}.")
            if self.measured
            else _("the limit leaves no full swing to measure.")
        )
        done = done.format(times=count(self.reps, "time"), pace=AT_PACE[self.pace])
        then = then.format(swings=count(self.measured, "swing"), pace=AT_PACE[self.measured_at])
        return f"{done}; {then}"


@dataclass(frozen=True)
class Offer:
    """A drill that may be done now, and what is known of it; what is no drill of the roster has no code."""

    exercise: Exercise
    known: Mapping[str, Any]
    evidence: str

    @property
    def name(self) -> str:
        """What it is called; of what is usually done, how it is done."""
        return self.exercise.name or (self.exercise.how or "").rstrip(".")


@dataclass(frozen=True)
class DrillChoice:
    """The drills for one student and one aim."""

    chosen: StudentSeason
    aim: Aim
    body: Body

    @cached_property
    def _rows(self) -> list[dict[str, Any]]:
        """The roster's drills with this aim, and what is usually done about its fault, in order."""
        if self.aim.code is None:
            return []
        reader = self.chosen.reader
        rows = known_drills(reader, self.chosen.person, self.chosen.season, drill_aims(self.aim))
        usual = usual_drill(reader, self.aim.fault)
        if usual:
            rows.append({"drill": None, "name": "", "how": usual, "label": None, "advice": None})
        return sorted(rows, key=order)

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """What may be done now, the best first."""
        fitting = [row for row in self._rows if row["advice"] != STOP and self.body.may_do(Exercise.of(row))]
        return tuple(
            Offer(Exercise.of(row), row, evidence(row, self.chosen.measures.get(row.get("aim") or "")))
            for row in fitting[: 1 + MORE]
        )

    @property
    def first(self) -> Offer | None:
        """The drill to start with; None where nothing is safe or known."""
        return self.offers[0] if self.offers else None

    def dose(self, offer: Offer, doses: pl.DataFrame) -> Dose:
        """As often as the coach set it last, at the next pace not held yet, within a player's limits."""
        before = doses.filter(kind="drill", drill=offer.exercise.code).head(1).to_dicts()
        reps = lesson.reps(before[0]) if before else lesson.USUAL_REPS
        at, wanted = next_pace(self.chosen, self.aim)
        pace, load = at, safety.swing_load(self.chosen.reader, self.chosen.person)
        if load is not None and at == PACES[-1]:
            wanted = min(wanted, load.left)
            reps = min(reps, load.left - wanted)
            if not reps:
                reps, pace = lesson.USUAL_REPS, PACES[0]
        return Dose(reps, pace, wanted, at, usual=not offer.exercise.code)

    def stop(self, doses: pl.DataFrame) -> str:
        """Which drill to stop, of those set last and those for this aim; "" where there is none."""
        mine = lesson.set_last(doses)["drill"].unique(maintain_order=True).to_list()
        in_use = lesson.effects_of(self.chosen.reader, mine, self.chosen.season).to_dicts()
        row = next((row for row in [*in_use, *self._rows] if row["advice"] == STOP), None)
        return "" if row is None else stop_sentence(row, self.chosen.measures.get(row["aim"]))


def drill_aims(aim: Aim) -> list[str]:
    """What a drill must aim at to be for exactly this.

    The aim itself; of a metric also the fault that shows in it; of a fault also the metrics that no other
    fault reads, as a drill for those may be for its opposite.
    """
    if aim.code is None:
        return []
    if aim.code not in aim.chosen.fault_names:
        return [aim.code, *filter(None, [aim.fault])]
    reader = aim.chosen.reader
    metrics = lesson.kindred_aims(reader, aim.code)[1:]
    return [aim.code, *(one for one in metrics if lesson.kindred_aims(reader, one)[1:] == [aim.code])]


def known_drills(
    reader: Reader, person: Mapping[str, Any], season: str, aims: Sequence[str]
) -> list[dict[str, Any]]:
    """The roster's drills with one of these aims, with what each kept, also with students like this one."""
    band = age_group(age(person["born"], person["first_day"] or reader.today))
    return lesson.drills_for(reader, aims, season, person["level"], band).to_dicts()


def order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """What helps comes first, by what it kept with students like this one, in smallest worthwhile changes.

    Of the others those that seem to keep something, then those nobody knows, and of these the roster's own.
    """
    kept = row.get("kept_alike") if row.get("kept_alike") is not None else row.get("kept")
    worth = kept / row["swc"] if kept is not None and row.get("swc") else 0.0
    return row["label"] != HELPS, -worth, row["drill"] is None, row["name"]


def stop_sentence(row: Mapping[str, Any], measure: Measure | None) -> str:
    """Why to stop a drill: what it can have kept at most, over how many doses."""
    doses = count(int(row["n_doses"]), "dose")
    if row["label"] == HARMS:
        return _("Stop {drill}: {doses}, and it got worse with it.").format(drill=row["name"], doses=doses)
    most, least = _amount(row, "kept_hi", measure, unit=False), _amount(row, "swc", measure)
    return _("Stop {drill}: {doses}, nothing kept (at most {most}; {least} would matter).").format(
        drill=row["name"], doses=doses, most=most, least=least
    )


def evidence(row: Mapping[str, Any], measure: Measure | None) -> str:
    """What is known of a drill, in a sentence or two, with its doubt."""
    if row["label"] is None or row.get("kept") is None:
        return _("Common choice, no evidence yet.")
    if row["label"] != HELPS:
        lo, hi = _amount(row, "kept_lo", measure, unit=False), _amount(row, "kept_hi", measure)
        return _("Common choice, not proven: kept between {lo} and {hi} so far ({doses}).").format(
            lo=lo, hi=hi, doses=count(int(row["n_doses"]), "dose")
        )
    text = _("Helps: kept {kept} ({students}).").format(
        kept=_amount(row, "kept", measure), students=count(int(row["n_students"]), "student")
    )
    if row.get("kept_alike") is None:
        return text
    like = lowered(AGES.get(row["alike"], row["alike"]))
    alike = _("With students like this one ({like}): {kept}.")
    return f"{text} {alike.format(like=like, kept=_amount(row, 'kept_alike', measure))}"


def _amount(row: Mapping[str, Any], name: str, measure: Measure | None, *, unit: bool = True) -> str:
    """What was kept, one figure finer than the measure is shown: what matters may be less than its last."""
    shown = None if measure is None else sentences.in_points(measure)
    whole, decimals = (row["unit"] or "", 0) if shown is None else (shown.unit, shown.decimals)
    return number(row[name], whole if unit else "", decimals + 1, signed=name != "swc")


def next_pace(chosen: StudentSeason, aim: Aim) -> tuple[str, int]:
    """The pace to practise at, one above what holds, and how many clean swings would show that it holds.

    Slow where no pace was judged.
    """
    fault = aim.fault
    rows = lesson.pace(chosen.reader, chosen.student, fault, chosen.family, chosen.season) if fault else []
    if not rows:
        return PACES[0], FEW_SWINGS
    return above(rows[0]["holds_at"]), int(rows[0]["clean_swings_wanted"])


def above(holds: str | None) -> str:
    """The next pace to practise at; null: none holds yet."""
    return PACES[0] if holds is None else PACES[min(PACES.index(holds) + 1, len(PACES) - 1)]
