"""Eye and plate: how far the coaches' saw notes and the measured faults agree.

Which sessions were looked at for what is said in by_eye.py. The notes support no more than that: a coach
writes what matters that day, so "measured, not noted" is often a choice, while "noted, not measured" is a
true difference.
"""

import numpy as np
import polars as pl

from models.season.by_eye import looked_for, saw_and_nudged
from models.season.estimation import Z90
from models.season.kernel import FLOATS
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import SELDOM

LEAST_SWINGS = 5  # judged in the session


def eye_plate_looks(writer: Writer) -> pl.DataFrame:
    """Every session, coach and fault that was looked for and measured (`looked_at`)."""
    saw, nudges = (
        looks.drop_nulls("session").select("session", "coach", "seen", fault="code")
        for looks in saw_and_nudged(writer)
    )
    judged = writer.sql(
        "SELECT session, season, student, day, fault, sum(flagged)::INTEGER AS flagged, "
        "sum(usable)::INTEGER AS usable FROM season.session_fault WHERE season IS NOT NULL GROUP BY ALL"
    )
    return looked_at(saw, judged, nudges)


def eye_plate_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.eye_plate."""
    return agreement(eye_plate_looks(writer))


def cohens_kappa(table: FLOATS) -> tuple[float, float]:
    """Cohen's kappa of a 2 × 2 table of counts and its standard error; NaN where a margin is empty.

    κ = (p_o − p_e)/(1 − p_e). Standard error: Fleiss, Cohen & Everitt 1969, Psychol Bull 72.
    """
    n = float(table.sum())
    if n == 0 or not (table.sum(axis=0).all() and table.sum(axis=1).all()):
        return float("nan"), float("nan")
    p = table / n
    row, column, own = p.sum(axis=1), p.sum(axis=0), np.diag(p)
    chance = float(row @ column)
    kappa = (float(own.sum()) - chance) / (1 - chance)
    a = float(np.sum(own * (1 - (row + column) * (1 - kappa)) ** 2))
    off = p * (column[:, None] + row[None, :]) ** 2
    b = (1 - kappa) ** 2 * float(off.sum() - np.diag(off).sum())
    c = (kappa - chance * (1 - kappa)) ** 2
    return kappa, float(np.sqrt(max(a + b - c, 0.0) / n) / (1 - chance))


def looked_at(saw: pl.DataFrame, judged: pl.DataFrame, nudges: pl.DataFrame) -> pl.DataFrame:
    """One row per session, coach and fault looked for and judged on five swings: seen, measured (booleans).

    `saw` and `nudges`: session, coach, fault and `seen` of each saw note and nudge; `judged`: session,
    season, student, day, fault, flagged, usable. A fault is measured where it shows in at least 20 % of the
    session's swings.
    """
    rows = judged.filter(pl.col("usable") >= LEAST_SWINGS)
    seasons = judged.select("session", "season").unique()
    noted, nudged = (
        frame.join(seasons, on="session").rename({"session": "visit", "fault": "code"})
        for frame in (saw, nudges)
    )
    looked = looked_for(noted, nudged).rename({"visit": "session", "code": "fault"})
    return (
        rows.join(looked, on=["session", "season", "fault"])
        .with_columns(measured=pl.col("flagged") >= SELDOM * pl.col("usable"))
        .sort("season", "fault", "coach", "day", "session")
    )


def agreement(looks: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.eye_plate: each coach's, and everyone's together under a null coach."""
    whole = looks.with_columns(coach=pl.lit(None, dtype=pl.String))
    seen, measured = pl.col("seen"), pl.col("measured")
    counts = (
        pl.concat([looks, whole])
        .group_by("season", "fault", "coach")
        .agg(
            seen_and_measured=(seen & measured).sum().cast(pl.Int32),
            seen_only=(seen & ~measured).sum().cast(pl.Int32),
            measured_only=(~seen & measured).sum().cast(pl.Int32),
            neither=(~seen & ~measured).sum().cast(pl.Int32),
        )
        .sort("season", "fault", "coach", nulls_last=True)
    )
    cells = (
        counts.select("seen_and_measured", "seen_only", "measured_only", "neither")
        .to_numpy()
        .astype(np.float64)
    )
    found = np.array([cohens_kappa(row.reshape(2, 2)) for row in cells]).reshape(-1, 2)
    kappa, half = found[:, 0], Z90 * found[:, 1]
    total = np.maximum(cells.sum(axis=1), 1.0)
    return counts.with_columns(
        n=pl.Series(cells.sum(axis=1)).cast(pl.Int32),
        agree_pct=pl.Series(100 * (cells[:, 0] + cells[:, 3]) / total),
        kappa=pl.Series(kappa).fill_nan(None),
        kappa_lo=pl.Series(np.maximum(kappa - half, -1.0)).fill_nan(None),
        kappa_hi=pl.Series(np.minimum(kappa + half, 1.0)).fill_nan(None),
    ).select(columns("season.eye_plate").keys())
