"""Who needs a talk this week and why: one signal a student and kind, discomfort first.

`week_rows` reads the warehouse and returns rows of season.signal, of season.signal_evidence (what each signal
rests on, as codes and numbers; the dashboard writes the sentences) and of season.signal_week.

Changes and new faults are listed as the season's error budget allows (ledger.py). Only changes that the
student's page calls Improving or Slipping, and only rates that it calls Worse, stay on the list, so no page
contradicts another. "Now" is the newest session day, so a build can be repeated.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, timedelta
from typing import NamedTuple

import polars as pl

from models.season.ledger import KEY as LEDGER_KEY
from models.season.ledger import LEAST_SURE, NEW_FAULT, listed
from models.season.week_sources import (
    AGAINST,
    BESIDE,
    MAIN,
    NEXT,
    RECENT_DAYS,
    Row,
    Signal,
    Sources,
    read_sources,
)
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import IMPROVING, SELDOM, SLIPPING, STOP, TOO_FEW, WORSE

KINDS = (
    "discomfort", "slipping", "improving", "new_fault", "outside_band", "idle_drill", "aim_met", "unmeasured",
    "eye_and_plate", "refused",
)  # fmt: skip
WEEKS_KEPT = 8  # the newest one counted
UNMEASURED_DAYS = 21
OUTSIDE_SESSIONS = 6
LEAST_LOOKS, OFTEN = 2, 0.5
LEAST_UNNOTED_SESSIONS = 3
ONE_DAY = timedelta(days=1)
SIX_DAYS = 6 * ONE_DAY  # from a Monday to its Sunday


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
    entered = listed(sources.claims)
    chosen = _listed_changes(candidates, entered)
    found = [*_changes(sources, chosen), *_new_faults(sources, entered), *_of_any_week(sources)]
    found += [*_aim_met(sources), *_refused(sources)]
    found.sort(key=_order)
    monday = sources.as_of - timedelta(days=sources.as_of.weekday())
    before = _earlier_weeks(sources, monday)
    week = {"week": monday, "as_of": sources.as_of}
    counts = {
        "judged": len(candidates), "listed": len(chosen),
        "expected_by_chance": float((1 - chosen["p_then"]).sum()),
        "entered": len(entered), "entered_now": int((entered["since"] == monday).sum()),
        "entered_by_chance": float((1 - entered["p_then"]).sum()),
    }  # fmt: skip
    signals = [
        signal.row | week | {"rank": rank, "weeks": _weeks_listed(signal, before)}
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
    yield from _discomfort(sources)
    yield from _outside_band(sources)
    yield from _idle_drill(sources)
    yield from _unmeasured(sources)
    yield from _eye_and_plate(sources)


def _earlier_weeks(sources: Sources, monday: date) -> dict[date, list[Signal]]:
    """Monday → what was on the list at the end of its week, as far as it is known; the newest first."""
    found: dict[date, list[Signal]] = {}
    for back in range(1, WEEKS_KEPT):
        start = monday - back * 7 * ONE_DAY
        then = sources.on(start + SIX_DAYS)
        if then.visits.is_empty():
            break
        found[start] = sorted([*_listed_then(then), *_of_any_week(then)], key=_order)
    return found


def _weeks_listed(signal: Signal, before: Mapping[date, list[Signal]]) -> int | None:
    """For how many weeks in a row, this one counted, the student has been on the list for the same kind."""
    key = (signal.row["kind"], signal.row["student"])
    if key[0] in ("aim_met", "refused"):
        return None
    weeks = 1
    for own in before.values():
        if key not in {(other.row["kind"], other.row["student"]) for other in own}:
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
    entered = entered.join(_last(then.claims, "p"), on=LEDGER_KEY)
    entered = entered.join(_last(newest.claims, "p_now"), on=LEDGER_KEY)
    fell = entered.filter(pl.col("p") >= LEAST_SURE, pl.col("p_now") < LEAST_SURE)
    still = entered.join(pl.concat([rows.select(LEDGER_KEY) for rows in called]), on=LEDGER_KEY, how="semi")
    rows = pl.concat([still, fell]).unique().sort("p", *LEDGER_KEY, descending=[True, *[False] * 4])
    for student, own in _by_student(rows):
        of_kind = {
            kind: [row for row in own if row["kind"] == kind] for kind in (SLIPPING, IMPROVING, NEW_FAULT)
        }
        changes = of_kind[SLIPPING] or of_kind[IMPROVING]
        for first in filter(None, (changes[:1], of_kind[NEW_FAULT][:1])):
            row = first[0]
            numbers = {name: row[name] for name in ("club_family", "p", "since")}
            yield then.signal(row["kind"], student, row["subject"], [], **numbers)


def _last(claims: pl.DataFrame, name: str) -> pl.DataFrame:
    """LEDGER_KEY and the chance as last known."""
    return claims.sort("day").group_by(LEDGER_KEY).agg(pl.col("p").last().alias(name))


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


def _by_student(frame: pl.DataFrame) -> Iterator[tuple[str, list[Row]]]:
    for (student,), rows in frame.group_by(["student"], maintain_order=True):
        yield str(student), rows.to_dicts()


def _evidence(rows: Iterable[Row], subject: str, *numbers: str, role: str = MAIN) -> list[Row]:
    """One row of evidence for each of `rows`: the column `subject`, clubs and `numbers`; then come others."""
    return [
        {"role": role if role == AGAINST or place == 0 else BESIDE, "subject": row[subject],
         "club_family": row.get("club_family"), **{name: row[name] for name in numbers}}
        for place, row in enumerate(rows)
    ]  # fmt: skip


def _discomfort(sources: Sources) -> Iterator[Signal]:
    newest_first = sources.discomfort.sort("student", "day", descending=[False, True])
    for student, rows in _by_student(newest_first):
        yield sources.signal("discomfort", student, rows[0]["code"], _evidence(rows, "code", "day"))


def _changes(sources: Sources, chosen: pl.DataFrame) -> Iterator[Signal]:
    """One signal a student: what slips before what improves, kindred metrics beside the surest."""
    numbers = ("start_value", "value_now", "p", "since")
    for student, rows in _by_student(chosen):
        slipping = [row for row in rows if row["label"] == SLIPPING]
        own = slipping or rows
        first, against = own[0], [row for row in rows if row["label"] != own[0]["label"]]
        evidence = _evidence(own, "metric", *numbers)
        evidence += _evidence(against, "metric", *numbers, role=AGAINST)
        yield sources.signal(
            "slipping" if slipping else "improving", student, first["metric"], evidence, p=first["p"],
            label=first["label"], club_family=first["club_family"], since=first["since"],
        )  # fmt: skip


def _new_faults(sources: Sources, entered: pl.DataFrame) -> Iterator[Signal]:
    """Listed as new, worse still, and seldom before: under 20 % of swings."""
    keys = ["student", "fault", "club_family"]
    before = sources.rates.filter((pl.col("span") == "before") & (pl.col("rate") < SELDOM))
    now = sources.rates.filter(
        (pl.col("span") == "now") & (pl.col("label") == WORSE) & pl.col("student").is_in(sources.recent)
    )
    new = entered.filter(kind=NEW_FAULT).join(_last(sources.claims, "p"), on=LEDGER_KEY)
    rows = (
        now.join(before.select(*keys, "flagged", "usable"), on=keys, suffix="_before")
        .join(new.rename({"subject": "fault"}), on=keys)
        .sort("p", *keys, descending=[True, False, False, False])
    )
    for student, own in _by_student(rows):
        numbers = ("flagged", "usable", "flagged_before", "usable_before", "p", "since")
        yield sources.signal(
            "new_fault", student, own[0]["fault"], _evidence(own, "fault", *numbers), p=own[0]["p"],
            label=own[0]["label"], club_family=own[0]["club_family"], since=own[0]["since"],
        )  # fmt: skip


def _outside_band(sources: Sources) -> Iterator[Signal]:
    """Not improving, and the last six sessions all on one side of the band."""
    keys = ["season", "student", "metric", "club_family"]
    gains = pl.col("label").is_in([IMPROVING, TOO_FEW])
    static = sources.trend.filter(~gains, pl.col("student").is_in(sources.recent))
    sessions = (
        sources.values.join(static, on=keys, how="semi")
        .group_by(*keys, "session").agg(pl.col("mean").mean(), pl.col("day").last())
        .sort(*keys, "day", "session")
    )  # fmt: skip
    last = pl.col("mean").tail(OUTSIDE_SESSIONS)
    ends = sessions.group_by(keys, maintain_order=True).agg(
        pl.col("day").last(), least=last.min(), most=last.max(), n=pl.len()
    )
    rows = []
    for row in ends.filter(pl.col("n") >= OUTSIDE_SESSIONS).iter_rows(named=True):
        band = sources.bands.of(row["metric"], row["season"], row["student"], row["club_family"], row["day"])
        side = band and ("under" if row["most"] < band[0] else "over" if row["least"] > band[1] else None)
        if side:
            rows.append({name: row[name] for name in keys} | {"side": side, "sessions": OUTSIDE_SESSIONS})
    if not rows:
        return
    outside = pl.DataFrame(rows).join(static, on=keys).sort("student", "metric", "club_family")
    for student, own_rows in _by_student(outside):
        yield sources.signal(
            "outside_band", student, own_rows[0]["metric"],
            _evidence(own_rows, "metric", "value_now", "side", "sessions"),
            label=own_rows[0]["label"], club_family=own_rows[0]["club_family"],
        )  # fmt: skip


def _idle_drill(sources: Sources) -> Iterator[Signal]:
    """The drill set last is one to stop."""
    recent = sources.doses.filter(pl.col("student").is_in(sources.recent))
    for student, own in _by_student(recent):
        drill = own[-1]["drill"]
        if own[-1]["advice"] == STOP:
            times = sum(row["drill"] == drill for row in own)
            yield sources.signal(
                "idle_drill", student, drill, [{"role": MAIN, "subject": drill, "doses": times}]
            )


def _aim_met(sources: Sources) -> Iterator[Signal]:
    """The aim that a coach named is met, and something else shows more often than seldom."""
    for row in sources.met.filter(pl.col("student").is_in(sources.recent)).iter_rows(named=True):
        then = {"role": NEXT, "subject": row["aim"], "flagged": row["flagged"], "usable": row["usable"]}
        family = {"club_family": row["club_family"]}
        evidence = [{"role": MAIN, "subject": row["named"], **family}, then | family]
        yield sources.signal("aim_met", row["student"], row["named"], evidence, **family)


def _unmeasured(sources: Sources) -> Iterator[Signal]:
    """Enrolled and not measured for more than 21 days, or never."""
    for student, joined in sources.enrolled.select("student", "joined").iter_rows():
        last = sources.last_day.get(student)
        since = last or joined
        days = None if since is None else (sources.as_of - since).days
        if days is None or days > UNMEASURED_DAYS:
            row = {"role": MAIN, "subject": "sessions", "day": last, "days": days if last else None}
            yield sources.signal("unmeasured", student, "sessions", [row])


def _eye_and_plate(sources: Sources) -> Iterator[Signal]:
    """In the last 28 days: noted twice and seldom measured, or measured often in three and never noted."""
    since = sources.as_of - timedelta(days=RECENT_DAYS)
    counts = (
        sources.looks.filter(pl.col("day") > since, pl.col("student").is_in(sources.recent))
        .group_by("student", "fault")
        .agg(pl.col("flagged", "usable", "seen").sum(), sessions=pl.len())
        .with_columns(rate=pl.col("flagged") / pl.col("usable"))
    )
    noted = (pl.col("seen") >= LEAST_LOOKS) & (pl.col("rate") < SELDOM)
    unnoted = (
        (pl.col("seen") == 0) & (pl.col("sessions") >= LEAST_UNNOTED_SESSIONS) & (pl.col("rate") >= OFTEN)
    )
    apart = counts.filter(noted | unnoted).sort("student", "seen", "fault", descending=[False, True, False])
    for student, rows in _by_student(apart):
        evidence = _evidence(rows, "fault", "flagged", "usable", "seen", "sessions")
        yield sources.signal("eye_and_plate", student, rows[0]["fault"], evidence)


def _refused(sources: Sources) -> Iterator[Signal]:
    """One signal a delivery; the evidence names its first refusal, whose sentence academy.refusal keeps."""
    deliveries = sources.refused.sort("delivery", maintain_order=True)
    for (name,), rows in deliveries.group_by(["delivery"], maintain_order=True):
        first = rows.row(0, named=True)
        evidence = {
            "role": MAIN, "subject": name, "session": first["session"], "refused_at": first["at"],
            "refusals": len(rows),
        }  # fmt: skip
        signal = sources.signal("refused", first["student"], str(name), [evidence])
        yield Signal(signal.row | {"coach": first["coach"] or signal.row["coach"]}, signal.evidence)
