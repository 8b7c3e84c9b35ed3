"""How far off each device reads, judged by a known weight that is put on it again and again.

The error of a check is 100 · (reading − known) / known, in %. Checks from before a recalibration say
nothing about the device as it is now; of those since, the newest 52 count, a year of weekly checks.

Whether it drifts: Kendall's rank correlation of error and time (Mann 1945, Econometrica 13, 245–259), tested
again at every check and significant at p ≤ 0.0038, so that a steady device is wrongly accused in 5 % of years
of weekly checks, whatever the shape of its noise. How far off: without drift, the mean with Student's t; with
drift, a line that is flat up to some check and sloped from there, or a jump at some check, whichever fits
better.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from warehouse.tables import columns
from warehouse.vocabulary import DRIFTS, JUMPED, OFF, STEADY, TOLERANCE_PCT, TOO_SOON

FLOATS = NDArray[np.float64]
FEWEST_CHECKS, FEWEST_DAYS, MOST_CHECKS = 6, 28, 52
FEWEST_CHANGED = 3  # checks since a drift or jump began
FOUND_P = 0.0038  # at every check, for 5 % over a year of 52; simulated rates are in tests/FIGURES.md
SURE = 0.95
SURE_JUMPED = 0.99  # that no line fits as well; below that a change is said to be a drift
MONTH = timedelta(days=365.25 / 12)


@dataclass(frozen=True)
class Estimate:
    """A device's error now and its jump in % of the weight, its drift in % a month, each with its interval.

    `next_lo` to `next_hi` is the interval for the next check. `began` is when a drift began, in months, or
    the first check after a jump, as are its `began_lo` and `began_hi`.
    """

    error_pct: float
    error_lo: float
    error_hi: float
    next_lo: float
    next_hi: float
    drift_pct_month: float | None = None
    drift_lo: float | None = None
    drift_hi: float | None = None
    began: float | None = None
    began_lo: float | None = None
    began_hi: float | None = None
    jump_pct: float | None = None
    jump_lo: float | None = None
    jump_hi: float | None = None


def judged(checks: pl.DataFrame) -> pl.DataFrame:
    """Rows of academy.device_accuracy from the rows of academy.device_check.

    With fewer than 6 checks or under 28 days since the device was last calibrated, estimates are null and the
    verdict is too_soon; it is too_soon with estimates where the device may yet be off. `found_at` is the
    check from which on, up to the newest, every check has found the device to drift or be off; null if it
    does neither. `began`, and `leaves_at`, when the line reaches the tolerance (which may lie in the future),
    are null without drift; a device that jumped has `began` and `jump_pct`, and no drift.
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
    now = estimate(months[first:], errors[first:], changed=verdict == DRIFTS)
    answer |= asdict(now)
    if verdict is None:
        inside = max(-now.error_lo, now.error_hi) <= TOLERANCE_PCT
        return {**answer, "verdict": STEADY if inside else TOO_SOON}
    look = len(own)
    while _found(months, errors, look - 1):
        look -= 1
    for name in ("began", "began_lo", "began_hi"):
        answer[name] = at[0] + answer[name] * MONTH if verdict == DRIFTS else None
    verdict = verdict if now.jump_pct is None else JUMPED
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


def estimate(months: FLOATS, errors: FLOATS, *, changed: bool) -> Estimate:
    """The error now and the drift, with 95 % intervals, from errors in % at times in months, (n,) each.

    Steady: the mean ē, se s/√n with n − 1 degrees; beside it the slope of the least-squares line with n − 2.
    Changed: a + b·max(t − τ, 0), or a + b from t = τ on, by least squares over both, a, b and τ, one of the
    checks with two or more after it. Intervals are by profile likelihood: every value reached by some τ, a
    and b with RSS ≤ least RSS · (1 + t²/(n − 3)); of the error now, by a line or a jump, of the others, by
    what fits best. For the next check, a half-width h becomes √(h² + t²s²).
    """
    if changed:
        return _changed(months, errors)
    n, line, error = months.size, _Shape(months, errors, months[0]), float(errors.mean())
    scatter = _t(n - 1) * float(np.std(errors, ddof=1))
    half, next_half = scatter / math.sqrt(n), scatter * math.sqrt(1 + 1 / n)
    drift_half = _t(n - 2) * math.sqrt(line.rss / (n - 2) / line.spread)
    return Estimate(
        error, error - half, error + half, error - next_half, error + next_half,
        line.size, line.size - drift_half, line.size + drift_half,
    )  # fmt: skip


class _Shape:
    """The least-squares multiple of x (n,) above a level: `size` times it; `at` is when x leaves 0."""

    def __init__(self, x: FLOATS, errors: FLOATS, at: float) -> None:
        x = x - x.mean()
        self.at, self.spread = float(at), float(x @ x)
        self.size = float(x @ errors) / self.spread
        self.now = float(errors.mean()) + self.size * float(x[-1])
        left = errors - errors.mean() - self.size * x
        self.rss = float(left @ left)
        self._share = 1 / errors.size + float(x[-1]) ** 2 / self.spread

    def ends(self, most: float) -> list[tuple[float, float]]:
        """Lowest and highest error now, and size, where it begins here and its RSS is at most `most`."""
        halves = math.sqrt((most - self.rss) * self._share), math.sqrt((most - self.rss) / self.spread)
        return [(v - half, v + half) for v, half in zip((self.now, self.size), halves, strict=True)]


def _changed(months: FLOATS, errors: FLOATS) -> Estimate:
    begins, freedom = months[: 1 - FEWEST_CHANGED], months.size - 3
    lines = [_Shape(np.maximum(months - at, 0.0), errors, at) for at in begins[:-1]]
    jumps = [_Shape(months >= at, errors, at) for at in begins if at > months[0]]
    drift, jump = (min(shapes, key=lambda one: one.rss) for shapes in (lines, jumps))
    jumped = drift.rss > jump.rss * (1 + _t(freedom, SURE_JUMPED) ** 2 / freedom)
    best = jump if jumped else drift
    scatter = _t(freedom) * math.sqrt(best.rss / freedom)
    most = best.rss + scatter**2
    kept = [one for one in (jumps if jumped else lines) if one.rss <= most]
    now_lo, now_hi = _hull(one.ends(most)[0] for one in (*lines, *jumps) if one.rss <= most)
    size = (best.size, *_hull(one.ends(most)[1] for one in kept))
    change = ("jump_pct", "jump_lo", "jump_hi") if jumped else ("drift_pct_month", "drift_lo", "drift_hi")
    return Estimate(
        best.now, now_lo, now_hi, best.now - math.hypot(best.now - now_lo, scatter),
        best.now + math.hypot(now_hi - best.now, scatter), **dict(zip(change, size, strict=True)),
        began=best.at, began_lo=kept[0].at, began_hi=kept[-1].at,
    )  # fmt: skip


def _hull(ends: Iterable[tuple[float, float]]) -> tuple[float, float]:
    lows, highs = zip(*ends, strict=True)
    return min(lows), max(highs)


def _t(freedom: int, sure: float = SURE) -> float:
    return float(special.stdtrit(freedom, (1 + sure) / 2))
