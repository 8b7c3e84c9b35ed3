"""The kinds of signals of a week: who has each, how sure it is, and what it rests on."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta

import polars as pl

from models.season.ledger import KEY as LEDGER_KEY
from models.season.week_sources import AGAINST, BESIDE, MAIN, NEXT, RECENT_DAYS, Row, Signal, Sources
from warehouse.vocabulary import (
    AGREED_DUE,
    AGREED_MISSED,
    AGREED_REACHED,
    AGREED_SILENT,
    IMPROVING,
    NEW_FAULT,
    REACHED,
    SELDOM,
    SLIPPING,
    STOP,
    TOO_FEW,
    WORSE,
)

UNMEASURED_DAYS = 21
OUTSIDE_SESSIONS = 6
LEAST_LOOKS, OFTEN = 2, 0.5
LEAST_UNNOTED_SESSIONS = 3
DUE_SOON_DAYS = 14


def last_known(claims: pl.DataFrame, name: str) -> pl.DataFrame:
    """LEDGER_KEY and the chance as last known."""
    return claims.sort("day").group_by(LEDGER_KEY).agg(pl.col("p").last().alias(name))


def by_student(frame: pl.DataFrame) -> Iterator[tuple[str, list[Row]]]:
    """Each student's rows."""
    for (student,), rows in frame.group_by(["student"], maintain_order=True):
        yield str(student), rows.to_dicts()


def _evidence(rows: Iterable[Row], subject: str, *numbers: str, role: str = MAIN) -> list[Row]:
    """One row of evidence for each of `rows`: the column `subject`, clubs and `numbers`; then come others."""
    return [
        {"role": role if role == AGAINST or place == 0 else BESIDE, "subject": row[subject],
         "club_family": row.get("club_family"), **{name: row[name] for name in numbers}}
        for place, row in enumerate(rows)
    ]  # fmt: skip


def discomfort(sources: Sources) -> Iterator[Signal]:
    """Discomfort that nobody has closed, the newest first."""
    newest_first = sources.discomfort.sort("student", "day", descending=[False, True])
    for student, rows in by_student(newest_first):
        yield sources.signal("discomfort", student, rows[0]["code"], _evidence(rows, "code", "day", "since"))


def changes(sources: Sources, chosen: pl.DataFrame) -> Iterator[Signal]:
    """One signal a student: what slips before what improves, kindred metrics beside the surest."""
    numbers = ("start_value", "value_now", "p", "since")
    for student, rows in by_student(chosen):
        slipping = [row for row in rows if row["label"] == SLIPPING]
        own = slipping or rows
        first, against = own[0], [row for row in rows if row["label"] != own[0]["label"]]
        evidence = _evidence(own, "metric", *numbers)
        evidence += _evidence(against, "metric", *numbers, role=AGAINST)
        yield sources.signal(
            "slipping" if slipping else "improving", student, first["metric"], evidence, p=first["p"],
            label=first["label"], club_family=first["club_family"], since=first["since"],
        )  # fmt: skip


def new_faults(sources: Sources, entered: pl.DataFrame) -> Iterator[Signal]:
    """Listed as new, worse still, and seldom before: under 20 % of swings."""
    keys = ["student", "fault", "club_family"]
    before = sources.rates.filter((pl.col("span") == "before") & (pl.col("rate") < SELDOM))
    now = sources.rates.filter(
        (pl.col("span") == "now") & (pl.col("label") == WORSE) & pl.col("student").is_in(sources.recent)
    )
    new = entered.filter(kind=NEW_FAULT).join(last_known(sources.claims, "p"), on=LEDGER_KEY)
    rows = (
        now.join(before.select(*keys, "flagged", "usable"), on=keys, suffix="_before")
        .join(new.rename({"subject": "fault"}), on=keys)
        .sort("p", *keys, descending=[True, False, False, False])
    )
    for student, own in by_student(rows):
        numbers = ("flagged", "usable", "flagged_before", "usable_before", "p", "since")
        yield sources.signal(
            "new_fault", student, own[0]["fault"], _evidence(own, "fault", *numbers), p=own[0]["p"],
            label=own[0]["label"], club_family=own[0]["club_family"], since=own[0]["since"],
        )  # fmt: skip


def outside_band(sources: Sources) -> Iterator[Signal]:
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
    for student, own_rows in by_student(outside):
        yield sources.signal(
            "outside_band", student, own_rows[0]["metric"],
            _evidence(own_rows, "metric", "value_now", "side", "sessions"),
            label=own_rows[0]["label"], club_family=own_rows[0]["club_family"],
        )  # fmt: skip


def idle_drill(sources: Sources) -> Iterator[Signal]:
    """The drill set last is one to stop."""
    recent = sources.doses.filter(pl.col("student").is_in(sources.recent))
    for student, own in by_student(recent):
        drill = own[-1]["drill"]
        if own[-1]["advice"] == STOP:
            times = sum(row["drill"] == drill for row in own)
            yield sources.signal(
                "idle_drill", student, drill, [{"role": MAIN, "subject": drill, "doses": times}]
            )


def aim_met(sources: Sources) -> Iterator[Signal]:
    """The aim that a coach named is met, and something else shows more often than seldom."""
    for row in sources.met.filter(pl.col("student").is_in(sources.recent)).iter_rows(named=True):
        then = {"role": NEXT, "subject": row["aim"], "flagged": row["flagged"], "usable": row["usable"]}
        family = {"club_family": row["club_family"]}
        evidence = [{"role": MAIN, "subject": row["named"], **family}, then | family]
        yield sources.signal("aim_met", row["student"], row["named"], evidence, **family)


def agreed_aims(sources: Sources) -> Iterator[Signal]:
    """Agreed aims that show, that did not by their due day, that should by now, or that are due soon.

    Each while there is something to say of it: for 28 days since it showed or was due, and unless the two
    have agreed on something since.
    """
    for student, rows in by_student(sources.agreed.filter(pl.col("student").is_in(sources.recent))):
        said: set[tuple[str, str]] = set()
        for place, row in enumerate(rows):
            first, (kind, since) = row["metrics"][0], _agreed(row, sources.as_of)
            later = any(other["agreed"] >= since for other in rows[:place])
            past = since <= sources.as_of - timedelta(days=RECENT_DAYS)
            if kind is None or later or past or (kind, first) in said:
                continue
            said.add((kind, first))
            evidence = [
                {"role": MAIN if metric == first else BESIDE, "subject": metric,
                 "club_family": row["club_family"], "day": row["looked" if kind == AGREED_REACHED else "due"],
                 "sessions": row["n_since"]}
                for metric in row["metrics"]
            ]  # fmt: skip
            yield sources.signal(
                kind, student, first, evidence, label=row["label"], since=since,
                club_family=row["club_family"],
            )  # fmt: skip


def _agreed(row: Row, as_of: date) -> tuple[str | None, date]:
    """What there is to say of an agreed aim, if anything, and since when."""
    if row["label"] == REACHED:
        return AGREED_REACHED, row["looked"]
    if row["due"] <= as_of:
        return AGREED_MISSED, row["due"]
    if row["would_show"]:
        return AGREED_SILENT, row["looked"]
    soon = row["due"] - timedelta(days=DUE_SOON_DAYS)
    return (AGREED_DUE if soon <= as_of else None), soon


def unmeasured(sources: Sources) -> Iterator[Signal]:
    """Enrolled and not measured for more than 21 days, or never."""
    for student, joined in sources.enrolled.select("student", "joined").iter_rows():
        last = sources.last_day.get(student)
        since = last or joined
        days = None if since is None else (sources.as_of - since).days
        if days is None or days > UNMEASURED_DAYS:
            row = {"role": MAIN, "subject": "sessions", "day": last, "days": days if last else None}
            yield sources.signal("unmeasured", student, "sessions", [row])


def eye_and_plate(sources: Sources) -> Iterator[Signal]:
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
    for student, rows in by_student(apart):
        evidence = _evidence(rows, "fault", "flagged", "usable", "seen", "sessions")
        yield sources.signal("eye_and_plate", student, rows[0]["fault"], evidence)


def refused(sources: Sources) -> Iterator[Signal]:
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
