"""How far off each device reads, judged by a known weight that is put on it again and again.

The error of a check is 100 · (reading − known) / known, in %. Checks from before a recalibration say
nothing about the device as it is now; of those since, the newest 52 count, a year of weekly checks.

Whether it drifts: Kendall's rank correlation of error and time (Mann 1945, Econometrica 13, 245–259), tested
again at every check and significant at p ≤ 0.0038, so that a steady device is wrongly accused in 5 % of years
of weekly checks, whatever the shape of its noise. How far off: without drift, the mean with Student's t; with
drift, a line that is flat up to some check and sloped from there.
"""

import math
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from warehouse.store import Writer
from warehouse.tables import columns
from warehouse.vocabulary import DRIFTS, OFF, STEADY, TOLERANCE_PCT, TOO_SOON

FLOATS = NDArray[np.float64]
FEWEST_CHECKS, FEWEST_DAYS, MOST_CHECKS = 6, 28, 52
FEWEST_DRIFTING = 3  # checks that a drift must have lasted
FOUND_P = 0.0038  # at every check, for 5 % over a year of 52; simulated rates are in tests/FIGURES.md
SURE = 0.95
MONTH = timedelta(days=365.25 / 12)


@dataclass(frozen=True)
class Estimate:
    """A device's error now, in % of the weight, and its drift in % a month, each with its interval.

    `next_lo` to `next_hi` is the interval for the next check. `began` is when a drift began, in months, as
    are its `began_lo` and `began_hi`.
    """

    error_pct: float
    error_lo: float
    error_hi: float
    next_lo: float
    next_hi: float
    drift_pct_month: float
    drift_lo: float
    drift_hi: float
    began: float | None = None
    began_lo: float | None = None
    began_hi: float | None = None


def device_accuracy_rows(writer: Writer) -> pl.DataFrame:
    """Rows of academy.device_accuracy."""
    return judged(writer.sql("SELECT * FROM academy.device_check"))


def judged(checks: pl.DataFrame) -> pl.DataFrame:
    """Rows of academy.device_accuracy from the rows of academy.device_check.

    With fewer than 6 checks or under 28 days since the device was last calibrated, estimates are null and the
    verdict is too_soon; it is too_soon with estimates where the device may yet be off. `found_at` is the
    check from which on, up to the newest, every check has found the device to drift or be off; null if it
    does neither. `began`, and `leaves_at`, when the line reaches the tolerance (which may lie in the future),
    are null without drift.
    """
    groups = checks.sort("device", "side", "at").group_by("device", "side", maintain_order=True)
    rows = [{"device": device, "side": side, **_answer(own)} for (device, side), own in groups]
    return pl.DataFrame(rows, columns("academy.device_accuracy"))


def _answer(own: pl.DataFrame) -> dict[str, Any]:
    anew = own["recalibrated"].arg_true()
    own = own[anew[-1] :] if len(anew) else own
    at: list[datetime] = own["at"].to_list()
    months = np.array([(one - at[0]) / MONTH for one in at])
    errors = own["error_pct"].to_numpy()
    first = max(len(own) - MOST_CHECKS, 0)
    answer: dict[str, Any] = {"n_checks": len(own) - first, "since": at[first], "last_at": at[-1]}
    if not _enough(months[first:]):
        return {**answer, "verdict": TOO_SOON}
    verdict = _found(months, errors, len(own))
    now = estimate(months[first:], errors[first:], drifts=verdict == DRIFTS)
    answer |= asdict(now)
    if verdict is None:
        inside = max(-now.error_lo, now.error_hi) <= TOLERANCE_PCT
        return {**answer, "verdict": STEADY if inside else TOO_SOON}
    look = len(own)
    while _found(months, errors, look - 1):
        look -= 1
    for name in ("began", "began_lo", "began_hi"):
        answer[name] = at[0] + answer[name] * MONTH if verdict == DRIFTS else None
    return {**answer, "verdict": verdict, "found_at": at[look - 1], "leaves_at": _leaves_at(now, at, first)}


def _leaves_at(now: Estimate, at: list[datetime], first: int) -> datetime | None:
    """When the line reaches the tolerance on the side it drifts to; null if that takes over ten years."""
    if now.began is None or not now.drift_pct_month:
        return None
    drift, newest = now.drift_pct_month, (at[-1] - at[0]) / MONTH
    month = newest + (math.copysign(TOLERANCE_PCT, drift) - now.error_pct) / drift
    if month < now.began:
        return at[first]  # it was beyond before it drifted
    return at[0] + month * MONTH if month < newest + 120 else None


def _enough(months: FLOATS) -> bool:
    return months.size >= FEWEST_CHECKS and (months[-1] - months[0]) * MONTH >= timedelta(days=FEWEST_DAYS)


def _found(months: FLOATS, errors: FLOATS, n: int) -> str | None:
    """Whether the device was found to drift or be off at its n-th check; None if neither."""
    months, errors = (values[max(n - MOST_CHECKS, 0) : n] for values in (months, errors))
    if not _enough(months):
        return None
    from scipy import stats  # noqa: PLC0415 - slow to import, and needed only for checked devices

    if stats.kendalltau(months, errors).pvalue <= FOUND_P:
        return DRIFTS
    beyond = abs(np.mean(errors)) - TOLERANCE_PCT
    margin = (
        special.stdtrit(months.size - 1, 1 - FOUND_P / 2) * np.std(errors, ddof=1) / math.sqrt(months.size)
    )
    return OFF if beyond > margin else None


def estimate(months: FLOATS, errors: FLOATS, *, drifts: bool) -> Estimate:
    """The error now and the drift, with 95 % intervals, from errors in % at times in months, (n,) each.

    Steady: the mean ē, se s/√n with n − 1 degrees; beside it the slope of the least-squares line with n − 2.
    Drifting: a + b·max(t − τ, 0) by least squares over a, b and τ, one of the checks with three after it.
    Intervals are by profile likelihood: every value reached by some τ, a and b with
    RSS ≤ least RSS · (1 + t²/(n − 3)). For the next check, a half-width h becomes √(h² + t²s²).
    """
    if drifts:
        return _drifting(months, errors)
    n, line, error = months.size, _Line(months, errors, months[0]), float(errors.mean())
    scatter = _t(n - 1) * float(np.std(errors, ddof=1))
    half, next_half = scatter / math.sqrt(n), scatter * math.sqrt(1 + 1 / n)
    drift_half = _t(n - 2) * math.sqrt(line.rss / (n - 2) / line.spread)
    return Estimate(
        error, error - half, error + half, error - next_half, error + next_half,
        line.slope, line.slope - drift_half, line.slope + drift_half,
    )  # fmt: skip


class _Line:
    """The least-squares line that is flat up to a time and sloped from there, in months and %."""

    def __init__(self, months: FLOATS, errors: FLOATS, bend: float) -> None:
        x = np.maximum(months - bend, 0.0)
        x -= x.mean()
        self.bend, self.spread = float(bend), float(x @ x)
        self.slope = float(x @ errors) / self.spread
        self.now = float(errors.mean()) + self.slope * float(x[-1])
        left = errors - errors.mean() - self.slope * x
        self.rss = float(left @ left)
        self._share = 1 / months.size + float(x[-1]) ** 2 / self.spread

    def ends(self, most: float) -> list[tuple[float, float]]:
        """Lowest and highest error now, and slope, of lines with this bend whose RSS is at most `most`."""
        halves = math.sqrt((most - self.rss) * self._share), math.sqrt((most - self.rss) / self.spread)
        return [(v - half, v + half) for v, half in zip((self.now, self.slope), halves, strict=True)]


def _drifting(months: FLOATS, errors: FLOATS) -> Estimate:
    lines = [_Line(months, errors, bend) for bend in months[:-FEWEST_DRIFTING]]
    best, freedom = min(lines, key=lambda line: line.rss), months.size - 3
    scatter = _t(freedom) * math.sqrt(best.rss / freedom)
    kept = [line for line in lines if line.rss <= best.rss + scatter**2]
    ends = np.array([line.ends(best.rss + scatter**2) for line in kept])
    (error_lo, drift_lo), (error_hi, drift_hi) = ends[:, :, 0].min(0).tolist(), ends[:, :, 1].max(0).tolist()
    next_lo = best.now - math.hypot(best.now - error_lo, scatter)
    next_hi = best.now + math.hypot(error_hi - best.now, scatter)
    return Estimate(
        best.now, error_lo, error_hi, next_lo, next_hi, best.slope, drift_lo, drift_hi,
        best.bend, kept[0].bend, kept[-1].bend,
    )  # fmt: skip


def _t(freedom: int) -> float:
    return float(special.stdtrit(freedom, (1 + SURE) / 2))
