"""Who needs a talk this week and why: one signal a student and kind, discomfort first.

`week_rows` reads the warehouse and returns rows of season.signal, of season.signal_evidence (what each signal
rests on, as codes and numbers; the dashboard writes the sentences) and of season.signal_week.

Changes and new faults are listed as the season's error budget allows (ledger.py). Only changes that the
student's page calls Improving or Slipping, and only rates that it calls Worse, stay on the list, so no page
contradicts another. "Now" is the newest session day, so a build can be repeated.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple

import polars as pl

from models.season.ledger import KEY as LEDGER_KEY
from models.season.ledger import LEAST_SURE, listed
from models.season.week_signals import (
    agreed_aims,
    aim_met,
    by_student,
    changes,
    discomfort,
    eye_and_plate,
    idle_drill,
    last_known,
    new_faults,
    outside_band,
    refused,
    unmeasured,
)
from models.season.week_sources import Signal, Sources, read_sources
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import AGREED_SIGNALS, IMPROVING, NEW_FAULT, SLIPPING, WORSE

KINDS = (
    "discomfort", *AGREED_SIGNALS, "slipping", "improving", "new_fault", "outside_band", "idle_drill",
    "aim_met", "unmeasured", "eye_and_plate", "refused",
)  # fmt: skip
NOT_FOLLOWED = ("aim_met", "refused", *AGREED_SIGNALS)  # kinds of which no earlier week is known
SHOWN = (IMPROVING, SLIPPING, NEW_FAULT)  # kinds of the ledger; the others are on the student's page alone
WEEKS_KEPT = 8  # the newest one counted
SIX_DAYS = timedelta(days=6)  # from a Monday to its Sunday


class WeekRows(NamedTuple):
    """Rows of season.signal, season.signal_evidence and season.signal_week."""

    signal: pl.DataFrame
    evidence: pl.DataFrame
    week: pl.DataFrame


def week_rows(writer: Writer) -> WeekRows:
    """The newest week's list; no rows before the first session."""
    as_of = writer.sql("SELECT max(day) FROM academy.session").item()
    if as_of is None:
        return WeekRows(pl.DataFrame(), pl.DataFrame(), pl.DataFrame())
    return review(read_sources(writer, as_of))


def review(sources: Sources) -> WeekRows:
    """The list of the week, and how many of its changes chance would have made."""
    recent = pl.col("student").is_in(sources.recent)
    candidates = sources.trend.filter(recent, pl.col("p_improved").is_not_null())
    entered = listed(sources.claims).filter(pl.col("kind").is_in(SHOWN))
    chosen = _listed_changes(candidates, entered)
    found = [*changes(sources, chosen), *new_faults(sources, entered), *_of_any_week(sources)]
    found += [*agreed_aims(sources), *aim_met(sources), *refused(sources)]
    found.sort(key=_order)
    monday = sources.as_of - timedelta(days=sources.as_of.weekday())
    before = _earlier_weeks(sources, monday)
    already = [{(signal.row["kind"], signal.row["student"]) for signal in own} for own in before.values()]
    week = {"week": monday, "as_of": sources.as_of}
    counts = {
        "judged": len(candidates), "listed": len(chosen),
        "expected_by_chance": float((1 - chosen["p_then"]).sum()),
        "entered": len(entered), "entered_now": int((entered["since"] == monday).sum()),
        "entered_by_chance": float((1 - entered["p_then"]).sum()),
    }  # fmt: skip
    signals = [
        signal.row | week | {"rank": rank, "weeks": _weeks_listed(signal, already)}
        for rank, signal in enumerate(found, start=1)
    ]
    signals += [
        signal.row | {"week": day, "as_of": day + SIX_DAYS, "rank": rank}
        for day, own in before.items() for rank, signal in enumerate(own, start=1)
    ]  # fmt: skip
    evidence = [
        row | {"week": monday, "signal": signal.row["signal"], "place": place}
        for signal in found for place, row in enumerate(signal.evidence, start=1)
    ]  # fmt: skip
    return WeekRows(
        pl.DataFrame(signals, columns("season.signal")),
        pl.DataFrame(evidence, columns("season.signal_evidence")),
        pl.DataFrame([week | counts]),
    )


def _order(signal: Signal) -> tuple[int, float, str, str]:
    """Within a kind the surest first, then by student; met aims in the order in which they are found."""
    row = signal.row
    by_name = ("", "") if row["kind"] == "aim_met" else (row["student"] or "", row["signal"])
    return KINDS.index(row["kind"]), -row.get("p", 0.0), *by_name


def _of_any_week(sources: Sources) -> Iterator[Signal]:
    """Signals that are found alike in the newest week and in an earlier one."""
    yield from discomfort(sources)
    yield from outside_band(sources)
    yield from idle_drill(sources)
    yield from unmeasured(sources)
    yield from eye_and_plate(sources)


def _earlier_weeks(sources: Sources, monday: date) -> dict[date, list[Signal]]:
    """Monday → what was on the list at the end of its week, as far as it is known; the newest first."""
    found: dict[date, list[Signal]] = {}
    for back in range(1, WEEKS_KEPT):
        start = monday - timedelta(weeks=back)
        then = sources.on(start + SIX_DAYS)
        if then.visits.is_empty():
            break
        found[start] = sorted([*_listed_then(then), *_of_any_week(then)], key=_order)
    return found


def _weeks_listed(signal: Signal, before: Sequence[set[tuple[Any, Any]]]) -> int | None:
    """For how many weeks in a row, this one counted, the student has been on the list for the same kind.

    `before`: kind and student of each earlier week's signals, the newest week first.
    """
    key = (signal.row["kind"], signal.row["student"])
    if key[0] in NOT_FOLLOWED:
        return None
    weeks = 1
    for own in before:
        if key not in own:
            break
        weeks += 1
    return weeks


def _listed_then(then: Sources) -> Iterator[Signal]:
    """Changes and new faults of an earlier week: those still called so, and those whose chance has fallen.

    One that is still as sure but is not called so today was called so in no week.
    """
    newest = then.newest or then
    called = [
        newest.trend.filter(pl.col("label").is_in([IMPROVING, SLIPPING])).select(
            "student", "club_family", kind="label", subject="metric"
        ),
        newest.rates.filter(span="now", label=WORSE).select(
            "student", "club_family", kind=pl.lit(NEW_FAULT), subject="fault"
        ),
    ]
    entered = listed(then.claims).filter(pl.col("student").is_in(then.recent))
    entered = entered.join(last_known(then.claims, "p"), on=LEDGER_KEY)
    entered = entered.join(last_known(newest.claims, "p_now"), on=LEDGER_KEY)
    fell = entered.filter(pl.col("p") >= LEAST_SURE, pl.col("p_now") < LEAST_SURE)
    still = entered.join(pl.concat([rows.select(LEDGER_KEY) for rows in called]), on=LEDGER_KEY, how="semi")
    rows = pl.concat([still, fell]).unique().sort("p", *LEDGER_KEY, descending=[True, *[False] * 4])
    for student, own in by_student(rows):
        of_kind = {
            kind: [row for row in own if row["kind"] == kind] for kind in (SLIPPING, IMPROVING, NEW_FAULT)
        }
        changes = of_kind[SLIPPING] or of_kind[IMPROVING]
        for first in filter(None, (changes[:1], of_kind[NEW_FAULT][:1])):
            row = first[0]
            numbers = {name: row[name] for name in ("club_family", "p", "since")}
            yield then.signal(row["kind"], student, row["subject"], [], **numbers)


def _listed_changes(candidates: pl.DataFrame, entered: pl.DataFrame) -> pl.DataFrame:
    """Changes that were ever listed and still are what they were listed as, surest first, with `p`."""
    p = pl.when(pl.col("label") == IMPROVING).then("p_improved").otherwise("p_slipped")
    return (
        candidates.join(
            entered, left_on=["label", "student", "metric", "club_family"],
            right_on=["kind", "student", "subject", "club_family"],
        )
        .with_columns(p=p)
        .sort("p", "student", "metric", "club_family", descending=[True, False, False, False])
    )  # fmt: skip
