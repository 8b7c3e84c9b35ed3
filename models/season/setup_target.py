"""Each student's own set-up target: where they stand most steadily, found by rocking to and fro.

From each day on that brings enough steady stands (`academy.hold`, those with rocking) the target is the
median of the stands' places along each foot, all stands of a year together, with a 90 % interval from order
statistics, which asks nothing of how stands scatter. There is none where fewer than half of the stands lie
near that median, as when a student settles in two places. The own band reaches `room_pct` beyond the
interval. What the heel carries of its foot's load follows from the place, as wherever it is not measured, so
that the heel's share has an own band too.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy import special

from models.swing.conditioning import heel_share_from_along
from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import FEET, STEADY_STANDS

ALONG, HEEL_SHARE = "address_{foot}_along_pct", "address_{foot}_heel_share_pct"
NEAR_PCT = 8.0  # of foot length
MOST_DOUBT_PCT = 20.0  # a wider interval says nothing that the academy's own band does not
YEAR = timedelta(days=365)
SURE = 0.90


def setup_target_rows(writer: Writer, room_pct: float) -> pl.DataFrame:
    """Rows of academy.setup_target."""
    stands = writer.sql(
        "SELECT session.student, session.day, hold.session, hold.lead_along_pct, hold.trail_along_pct "
        "FROM academy.hold AS hold JOIN academy.session AS session USING (session) "
        "WHERE hold.rocking AND hold.lead_along_pct IS NOT NULL AND hold.trail_along_pct IS NOT NULL "
        "ORDER BY session.student, session.day, hold.session, hold.swing_no"
    )
    return targets(stands, room_pct)


def targets(stands: pl.DataFrame, room_pct: float) -> pl.DataFrame:
    """Rows of academy.setup_target.

    Args:
        stands: student, day, session, lead_along_pct, trail_along_pct of each steady stand.
        room_pct: how far beyond the interval a set-up still counts as on the own spot, % of foot length.
    """
    rows = []
    for (student,), own in stands.group_by("student", maintain_order=True):
        for day in own["day"].unique().sort():
            recent = own.filter((pl.col("day") <= day) & (pl.col("day") > day - YEAR))
            rows += _of_day(str(student), day, recent, room_pct)
    return pl.DataFrame(rows, columns("academy.setup_target"), orient="row")


def _of_day(student: str, day: date, stands: pl.DataFrame, room_pct: float) -> list[tuple[object, ...]]:
    """Two rows a foot, its place and its heel's share; none while either foot has no target."""
    rows: list[tuple[object, ...]] = []
    for foot in FEET:
        places = stands[f"{foot}_along_pct"].to_numpy()
        if places.size < STEADY_STANDS:
            return []
        middle, (lo, hi) = float(np.median(places)), median_interval(places)
        near = np.mean(np.abs(places - middle) <= NEAR_PCT)
        if near < 0.5 or hi - lo > MOST_DOUBT_PCT:
            return []
        ends = lo, hi, max(lo - room_pct, 0.0), min(hi + room_pct, 100.0)
        of_heel = [100.0 * heel_share_from_along(end) for end in ends]
        counts = places.size, stands["session"].n_unique()
        rows.append((student, ALONG.format(foot=foot), day, *counts, middle, *ends))
        heel = 100.0 * heel_share_from_along(middle), of_heel[1], of_heel[0], of_heel[3], of_heel[2]
        rows.append((student, HEEL_SHARE.format(foot=foot), day, *counts, *heel))
    return rows


def median_interval(values: ArrayLike, sure: float = SURE) -> tuple[float, float]:
    """An interval that holds the median of what the values come from, with probability `sure`.

    Two order statistics, interpolated toward the next narrower pair: Hettmansperger & Sheather 1986 (Stat
    Probab Lett 4, 75–79). The lowest and highest value where even they are less sure than asked.

    Example:
        >>> median_interval([48.0, 49.0, 50.0, 51.0, 52.0])
        (48.19..., 51.80...)
    """
    x = np.sort(np.asarray(values, dtype=float))
    n = x.size
    k = max(int(np.searchsorted(special.bdtr(np.arange(n + 1), n, 0.5), (1 - sure) / 2)), 1)
    while k > 1 and _holds(n, k) < sure:
        k -= 1
    wider, narrower = _holds(n, k), _holds(n, k + 1)
    if wider <= sure or k + 1 > n - k:
        return float(x[k - 1]), float(x[n - k])
    part = (wider - sure) / (wider - narrower)
    weight = (n - k) * part / (k + (n - 2 * k) * part)
    lower = (1 - weight) * x[k - 1] + weight * x[k]
    upper = (1 - weight) * x[n - k] + weight * x[n - k - 1]
    return float(lower), float(upper)


def _holds(n: int, k: int) -> float:
    """How likely the k-th lowest and k-th highest of n values have the median between them."""
    return float(1 - 2 * special.bdtr(k - 1, n, 0.5))
