"""From the warehouse to coach gains, ball results, and eye and plate.

All read the whole academy, so they are a build's work.
"""

from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from models.answers import BASELINE, bands, stored_fits
from models.season.ball import ball_links
from models.season.cells import baseline, known_rows
from models.season.coach import (
    LEAST_SHOWN,
    Z80,
    Z95,
    CoachGains,
    coach_gains,
    funnel_limits,
    item_slopes,
    student_gains,
)
from models.season.eye_plate import agreement, looked_at
from models.season.kernel import FLOATS
from warehouse.store import Writer

SQL_FOLDER = Path(__file__).parent / "sql"
AGES = (18, 40, 60)  # under 18, 18 to 39, 40 to 59, 60 and over
LEAST_OF_AGE = 3
DAYS_A_YEAR = 365.25


def ball_link_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.ball_link."""
    return ball_links(writer.sql((SQL_FOLDER / "season.ball_pair.sql").read_text(encoding="utf-8")))


def eye_plate_looks(writer: Writer) -> pl.DataFrame:
    """Every session, coach and fault that was looked for and measured (`eye_plate.looked_at`)."""
    saw = writer.sql(
        "SELECT DISTINCT session, author AS coach, code AS fault FROM academy.note "
        "WHERE kind = 'saw' AND session IS NOT NULL AND code IS NOT NULL"
    )
    judged = writer.sql(
        "SELECT session, season, student, day, fault, sum(flagged)::INTEGER AS flagged, "
        "sum(usable)::INTEGER AS usable FROM season.session_fault WHERE season IS NOT NULL GROUP BY ALL"
    )
    return looked_at(saw, judged)


def eye_plate_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.eye_plate."""
    return agreement(eye_plate_looks(writer))


def coach_gain_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.coach_gain, one a coach of whom a student was measured."""
    rows = baseline(
        writer.sql(
            f"SELECT * FROM season.session_metric WHERE {BASELINE} "
            "AND metric IN (SELECT metric FROM academy.metric WHERE core)"
        )
    )
    fits = stored_fits(writer, rows)
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    items = item_slopes(known_rows(rows, fits), fits, better, bands(writer))
    gains = student_gains(items)
    spans = rows.group_by("season", "student").agg(first=pl.col("day").min(), last=pl.col("day").max())
    coaching = writer.sql('SELECT student, coach, "from", "to" FROM academy.coaching')
    born = dict(writer.sql("SELECT person, born FROM academy.person").iter_rows())
    out = [
        row
        for (season,), own in gains.join(spans, on=["season", "student"]).group_by(
            ["season"], maintain_order=True
        )
        for row in _season_rows(str(season), own.sort("student"), coaching, born)
    ]
    return pl.DataFrame(out, infer_schema_length=None)


def _season_rows(
    season: str, gains: pl.DataFrame, coaching: pl.DataFrame, born: dict[str, date | None]
) -> list[dict[str, object]]:
    coaches, share = shares(gains, coaching)
    has = share.sum(axis=1) > 0
    if not coaches or not has.any():
        return []
    kept = gains.filter(pl.Series(has))
    share = share[has]
    x = case_mix(
        [(born.get(student), first) for student, first in kept.select("student", "first").iter_rows()]
    )
    found = coach_gains(kept["gain"].to_numpy(), kept["variance"].to_numpy(), share, x)
    return [
        {"season": season, "coach": coach, "n_students": (n := int((share[:, k] > 0).sum())),
         "shown": n >= LEAST_SHOWN and found is not None, **(_told(found, k) if found else {})}
        for k, coach in enumerate(coaches)
    ]  # fmt: skip


def _told(found: CoachGains, k: int) -> dict[str, float]:
    lo80, hi80 = funnel_limits(found.overall, found.raw_se, Z80)
    lo95, hi95 = funnel_limits(found.overall, found.raw_se, Z95)
    figures = {
        "gain": found.gain, "gain_lo": found.lo, "gain_hi": found.hi, "gain_se": found.se, "raw": found.raw,
        "raw_se": found.raw_se, "lo80": lo80, "hi80": hi80, "lo95": lo95, "hi95": hi95,
    }  # fmt: skip
    return {**{name: float(values[k]) for name, values in figures.items()}, "overall": found.overall}


def shares(gains: pl.DataFrame, coaching: pl.DataFrame) -> tuple[list[str], FLOATS]:
    """Coaches, and the share of each student's measured days (first to last session) under each.

    Rows of students whom nobody coached then are 0; two coaches at once share alike.
    """
    met = (
        gains.select("student", "first", "last").join(coaching, on="student")
        .with_columns(
            days=(pl.min_horizontal("last", pl.col("to").fill_null(pl.col("last")))
                  - pl.max_horizontal("first", "from")).dt.total_days() + 1
        )
        .filter(pl.col("days") > 0)
        .group_by("student", "coach").agg(pl.col("days").sum())
    )  # fmt: skip
    coaches = sorted(met["coach"].unique())
    place = {student: i for i, student in enumerate(gains["student"])}
    share = np.zeros((len(gains), len(coaches)))
    for student, coach, days in met.iter_rows():
        share[place[student], coaches.index(coach)] += days
    whole = share.sum(axis=1, keepdims=True)
    return coaches, np.divide(share, whole, out=np.zeros_like(share), where=whole > 0)


def case_mix(ages: list[tuple[date | None, date]]) -> FLOATS:
    """1, and a centred 0/1 column for each age band at entry but the commonest; (S, p).

    Bands of under three students, and students whose birthday is not known, stand with the commonest.
    """
    band = np.array(
        [
            -1
            if born is None
            else int(np.searchsorted(AGES, (entry - born).days / DAYS_A_YEAR, side="right"))
            for born, entry in ages
        ]
    )
    codes, counts = np.unique(band[band >= 0], return_counts=True)
    usual = codes[np.argmax(counts)] if codes.size else -1
    columns = [
        (band == code).astype(float) for code, n in zip(codes, counts, strict=True)
        if code != usual and n >= LEAST_OF_AGE
    ]  # fmt: skip
    return np.column_stack([np.ones(band.size), *(column - column.mean() for column in columns)])
