"""Who needs a talk this week and why: one signal a student and kind, discomfort first.

`week_rows` reads the warehouse and returns rows of season.signal, of season.signal_evidence (what each signal
rests on, as codes and numbers; the dashboard writes the sentences) and of season.signal_week.

Changes and new faults are listed as the season's error budget allows (ledger.py). Only changes that the
student's page calls Improving or Slipping, and only rates that it calls Worse, stay on the list, so no page
contradicts another. "Now" is the newest session day, so a build can be repeated.
"""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import NamedTuple

import polars as pl

from models.season.ledger import KEY as LEDGER_KEY
from models.season.ledger import NEW_FAULT, listed
from models.season.week_sources import AGAINST, BESIDE, MAIN, RECENT_DAYS, Row, Signal, Sources, read_sources
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import HOLDING, IMPROVING, SELDOM, SLIPPING, WORSE

KINDS = (
    "discomfort", "slipping", "improving", "new_fault", "outside_band", "unmeasured", "eye_and_plate",
    "refused",
)  # fmt: skip
UNMEASURED_DAYS = 21
OUTSIDE_SESSIONS = 6
LEAST_LOOKS, OFTEN = 2, 0.5
LEAST_UNNOTED_SESSIONS = 3


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
    found = [
        *_discomfort(sources), *_changes(sources, chosen), *_new_faults(sources, entered),
        *_outside_band(sources), *_unmeasured(sources), *_eye_and_plate(sources), *_refused(sources),
    ]  # fmt: skip
    found.sort(
        key=lambda s: (
            KINDS.index(s.row["kind"]),
            -s.row.get("p", 0.0),
            s.row["student"] or "",
            s.row["signal"],
        )
    )
    monday = sources.as_of - timedelta(days=sources.as_of.weekday())
    week = {"week": monday, "as_of": sources.as_of}
    counts = {
        "judged": len(candidates), "listed": len(chosen),
        "expected_by_chance": float((1 - chosen["p_then"]).sum()),
        "entered": len(entered), "entered_now": int((entered["since"] == monday).sum()),
        "entered_by_chance": float((1 - entered["p_then"]).sum()),
    }  # fmt: skip
    signals = [signal.row | week | {"rank": rank} for rank, signal in enumerate(found, start=1)]
    evidence = [
        row | {"week": monday, "signal": signal.row["signal"], "place": place}
        for signal in found for place, row in enumerate(signal.evidence, start=1)
    ]  # fmt: skip
    return WeekRows(
        pl.DataFrame(signals, columns("season.signal")),
        pl.DataFrame(evidence, columns("season.signal_evidence")),
        pl.DataFrame([week | counts]),
    )


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
    new = entered.filter(kind=NEW_FAULT).join(
        sources.claims.sort("day").group_by(LEDGER_KEY).agg(pl.col("p").last()), on=LEDGER_KEY
    )
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
    """Holding, and the last six sessions all on one side of the band."""
    keys = ["season", "student", "metric", "club_family"]
    holding = sources.trend.filter((pl.col("label") == HOLDING) & pl.col("student").is_in(sources.recent))
    rows = []
    for key, own in sources.values.join(holding, on=keys, how="semi").group_by(keys, maintain_order=True):
        season, student, metric, family = (str(part) for part in key)
        last = (
            own.sort("day", "session")
            .group_by("session", maintain_order=True)
            .agg(pl.col("mean").mean(), pl.col("day").last())
        )
        band = sources.bands.of(metric, season, student, family, last["day"][-1])
        values = last["mean"].tail(OUTSIDE_SESSIONS)
        if band is None or len(values) < OUTSIDE_SESSIONS:
            continue
        side = "under" if (values < band[0]).all() else "over" if (values > band[1]).all() else None
        if side is not None:
            rows.append(dict(zip(keys, key, strict=True)) | {"side": side, "sessions": OUTSIDE_SESSIONS})
    if not rows:
        return
    outside = pl.DataFrame(rows).join(holding, on=keys).sort("student", "metric", "club_family")
    for student, own_rows in _by_student(outside):
        yield sources.signal(
            "outside_band", student, own_rows[0]["metric"],
            _evidence(own_rows, "metric", "value_now", "side", "sessions"),
            label=HOLDING, club_family=own_rows[0]["club_family"],
        )  # fmt: skip


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
