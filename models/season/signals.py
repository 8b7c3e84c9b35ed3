"""The week's list: who needs a talk and why, one entry a student and kind, discomfort first.

Changes are ranked by P(change beyond the smallest worthwhile one in that direction) and cut where the mean of
1 − P over those listed reaches 5 %. Only changes that the student's page calls Improving or Slipping are
candidates, so that no page says otherwise. "Now" is the newest session day, so a build can be repeated.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl

from models.season import phrases
from models.season.judgement import Bands
from models.season.kernel import FLOATS
from models.season.ladder import SELDOM
from models.season.phrases import Words
from warehouse.vocabulary import HOLDING, IMPROVING, SLIPPING, WORSE

KINDS = (
    "discomfort", "slipping", "improving", "new_fault", "outside_band", "unmeasured", "eye_and_plate",
    "refused",
)  # fmt: skip
MOST_BY_CHANCE = 0.05
RECENT_DAYS, UNMEASURED_DAYS = 28, 21
OUTSIDE_SESSIONS = 6
LEAST_LOOKS, OFTEN = 2, 0.5
LEAST_UNSAID = 3
Row = dict[str, Any]


@dataclass(frozen=True)
class Week:
    """What the list is made from; every frame is the newest season's.

    trend, rates: season.student_trend and season.student_fault_rate; values: baseline rows of band metrics
    (season, student, metric, club_family, day, session, mean); looks: `eye_plate.looked_at` rows; discomfort:
    open notes (student, code, day); enrolled: student, joined; last_day: student → newest measured day, for
    everyone; refused: delivery, student, coach, sentence; coach: student → who coaches now.
    """

    as_of: date
    trend: pl.DataFrame
    rates: pl.DataFrame
    values: pl.DataFrame
    looks: pl.DataFrame
    discomfort: pl.DataFrame
    enrolled: pl.DataFrame
    last_day: Mapping[str, date]
    refused: pl.DataFrame
    coach: Mapping[str, str]
    bands: Bands
    words: Words

    @property
    def recent(self) -> list[str]:
        """Students on the roster who were measured in the last 28 days."""
        since = self.as_of - timedelta(days=RECENT_DAYS)
        return [s for s in self.enrolled["student"] if self.last_day.get(s, date.min) > since]


@dataclass(frozen=True)
class Review:
    """Rows of season.signal, and what season.signal_week says of the changes among them."""

    signals: list[Row]
    judged: int
    listed: int
    expected_by_chance: float


def listed_count(p: FLOATS) -> int:
    """How many of p (falling) are listed: the most with mean(1 − p) ≤ 5 %."""
    if p.size == 0:
        return 0
    mean = np.cumsum(1 - p) / np.arange(1, p.size + 1)
    return int(np.searchsorted(mean, MOST_BY_CHANCE, side="right"))


def review(week: Week) -> Review:
    """The list of the week."""
    candidates = week.trend.filter(pl.col("student").is_in(week.recent), pl.col("p_improved").is_not_null())
    chosen = chosen_changes(candidates)
    found = [
        *_discomfort(week), *_changes(week, chosen), *_new_faults(week), *_outside(week), *_unmeasured(week),
        *_eye_and_plate(week), *_refused(week),
    ]  # fmt: skip
    found.sort(
        key=lambda row: (KINDS.index(row["kind"]), -(row["p"] or 0.0), row["student"] or "", row["signal"])
    )
    monday = week.as_of - timedelta(days=week.as_of.weekday())
    for rank, row in enumerate(found, start=1):
        row.update(week=monday, as_of=week.as_of, rank=rank)
    chance = float((1 - chosen["p"]).sum()) if len(chosen) else 0.0
    return Review(found, len(candidates), len(chosen), chance)


def chosen_changes(trend: pl.DataFrame) -> pl.DataFrame:
    """The rows listed, surest first, with `p` and `kind`."""
    called = trend.filter(pl.col("label").is_in([IMPROVING, SLIPPING]))
    improving = pl.col("label") == IMPROVING
    ranked = called.with_columns(
        p=pl.when(improving).then(pl.col("p_improved")).otherwise(pl.col("p_slipped")),
        kind=pl.when(improving).then(pl.lit("improving")).otherwise(pl.lit("slipping")),
    ).sort("p", "student", "metric", "club_family", descending=[True, False, False, False])
    return ranked.head(listed_count(ranked["p"].to_numpy()))


def _entry(week: Week, kind: str, student: str | None, subject: str, sentence: str, **more: Any) -> Row:
    row: Row = {
        "signal": f"{kind}:{student or ''}:{subject}", "kind": kind, "student": student,
        "coach": week.coach.get(student) if student else None, "subject": subject, "sentence": sentence,
        "kindred": [], "club_family": None, "label": None, "p": None,
    }  # fmt: skip
    return row | more


def _by_student(frame: pl.DataFrame) -> Iterable[tuple[str, list[Row]]]:
    for (student,), rows in frame.group_by(["student"], maintain_order=True):
        yield str(student), rows.to_dicts()


def _others(rows: Sequence[Row], key: str) -> list[str]:
    """Further subjects, each once."""
    first = rows[0][key]
    return list(dict.fromkeys(row[key] for row in rows if row[key] != first))


def _discomfort(week: Week) -> Iterable[Row]:
    for student, rows in _by_student(week.discomfort.sort("student", "day", descending=[False, True])):
        yield _entry(
            week,
            "discomfort",
            student,
            rows[0]["code"],
            phrases.discomfort(rows),
            kindred=_others(rows, "code"),
        )


def _changes(week: Week, chosen: pl.DataFrame) -> Iterable[Row]:
    """One entry a student: what slips before what improves, kindred metrics under the surest."""
    for student, rows in _by_student(chosen):
        slipping = [row for row in rows if row["kind"] == "slipping"]
        own = slipping or rows
        first, against = own[0], [row for row in rows if row["kind"] != own[0]["kind"]]
        sentence = phrases.change(week.words, first, own[1:], against, improving=not slipping)
        yield _entry(
            week, first["kind"], student, first["metric"], sentence, p=first["p"], label=first["label"],
            club_family=first["club_family"], kindred=_others(own, "metric"),
        )  # fmt: skip


def _new_faults(week: Week) -> Iterable[Row]:
    """Worse now, and seldom before: under 20 % of swings."""
    keys = ["student", "fault", "club_family"]
    before = week.rates.filter((pl.col("span") == "before") & (pl.col("rate") < SELDOM))
    now = week.rates.filter(
        (pl.col("span") == "now") & (pl.col("label") == WORSE) & pl.col("student").is_in(week.recent)
    )
    rows = (
        now.join(before.select(*keys, "flagged", "usable"), on=keys, suffix="_before")
        .with_columns(p=1 - pl.col("p_lower"))
        .sort("p", *keys, descending=[True, False, False, False])
    )
    for student, own in _by_student(rows):
        yield _entry(
            week, "new_fault", student, own[0]["fault"], phrases.new_fault(week.words, own), p=own[0]["p"],
            label=own[0]["label"], club_family=own[0]["club_family"], kindred=_others(own, "fault"),
        )  # fmt: skip


def _outside(week: Week) -> Iterable[Row]:
    """Holding, and the last six sessions all on one side of the band."""
    keys = ["season", "student", "metric", "club_family"]
    holding = week.trend.filter((pl.col("label") == HOLDING) & pl.col("student").is_in(week.recent))
    rows = []
    for key, own in week.values.join(holding, on=keys, how="semi").group_by(keys, maintain_order=True):
        season, student, metric, family = (str(part) for part in key)
        last = (
            own.sort("day", "session")
            .group_by("session", maintain_order=True)
            .agg(pl.col("mean").mean(), pl.col("day").last())
        )
        band = week.bands.of(metric, season, student, family, last["day"][-1])
        values = last["mean"].tail(OUTSIDE_SESSIONS)
        if band is None or len(values) < OUTSIDE_SESSIONS:
            continue
        side = "under" if (values < band[0]).all() else "over" if (values > band[1]).all() else None
        if side is not None:
            rows.append({"student": student, "metric": metric, "club_family": family, "side": side})
    if not rows:
        return
    found = pl.DataFrame(rows).join(holding, on=["student", "metric", "club_family"])
    for student, own_rows in _by_student(found.sort("student", "metric", "club_family")):
        told = [row | {"sessions": OUTSIDE_SESSIONS} for row in own_rows]
        yield _entry(
            week, "outside_band", student, told[0]["metric"], phrases.outside_band(week.words, told),
            label=HOLDING, club_family=told[0]["club_family"], kindred=_others(told, "metric"),
        )  # fmt: skip


def _unmeasured(week: Week) -> Iterable[Row]:
    for student, joined in week.enrolled.select("student", "joined").iter_rows():
        last = week.last_day.get(student)
        since = last or joined
        days = None if since is None else (week.as_of - since).days
        if days is None or days > UNMEASURED_DAYS:
            sentence = phrases.unmeasured(days if last else None, last)
            yield _entry(week, "unmeasured", student, "sessions", sentence)


def _eye_and_plate(week: Week) -> Iterable[Row]:
    """In the last 28 days: seen twice and seldom measured, or measured often in three and never said."""
    since = week.as_of - timedelta(days=RECENT_DAYS)
    counts = (
        week.looks.filter(pl.col("day") > since, pl.col("student").is_in(week.recent))
        .group_by("student", "fault")
        .agg(pl.col("flagged", "usable", "seen").sum(), sessions=pl.len())
        .with_columns(rate=pl.col("flagged") / pl.col("usable"))
    )
    seen = (pl.col("seen") >= LEAST_LOOKS) & (pl.col("rate") < SELDOM)
    unsaid = (pl.col("seen") == 0) & (pl.col("sessions") >= LEAST_UNSAID) & (pl.col("rate") >= OFTEN)
    apart = counts.filter(seen | unsaid).sort("student", "seen", "fault", descending=[False, True, False])
    for student, rows in _by_student(apart):
        sentence = " ".join(phrases.eye_and_plate(week.words, row) for row in rows)
        yield _entry(
            week, "eye_and_plate", student, rows[0]["fault"], sentence, kindred=_others(rows, "fault")
        )


def _refused(week: Week) -> Iterable[Row]:
    for (name,), rows in week.refused.sort("delivery").group_by(["delivery"], maintain_order=True):
        student, coach = rows["student"][0], rows["coach"][0]
        entry = _entry(
            week, "refused", student, str(name), phrases.refused(str(name), rows["sentence"].to_list())
        )
        yield entry | {"coach": coach or entry["coach"]}
