"""Plates whose error is known: a weight stood on each week after week, and what the plate read."""

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
import polars as pl

MONTH_DAYS = 365.25 / 12
FIRST = datetime.fromisoformat("2026-01-05T09:00:00")


def checks(errors, *, device="plates-a", side="whole", every_days=7.0, first=FIRST, recalibrated=()):
    """Rows of academy.device_check: one check every few days with these errors (%), of 20 kg."""
    errors = np.asarray(errors, dtype=float)
    return pl.DataFrame({
        "device": [device] * len(errors),
        "side": [side] * len(errors),
        "at": [first + timedelta(days=every_days * k) for k in range(len(errors))],
        "known_kg": [20.0] * len(errors),
        "reading_kg": 20.0 * (1 + errors / 100),
        "error_pct": errors,
        "recalibrated": [k in recalibrated for k in range(len(errors))],
    })  # fmt: skip


def weekly(n, *, off=0.0, a_month=0.0, starts=0, sd=0.5, seed=0, noise: Callable | None = None):
    """Errors (%) of n weekly checks: off by `off`, then drifting from the check `starts` on, with noise."""
    rng = np.random.default_rng(seed)
    weeks = np.maximum(np.arange(n) - starts, 0)
    return off + a_month * weeks * 7 / MONTH_DAYS + sd * (noise or rng.standard_normal)(n)
