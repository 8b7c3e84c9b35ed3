"""What a session's reduction answers: metrics, flags, events and holds of its swings; and rows made of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from models.swing.kernel import Plate, PlateRun
from warehouse.definitions import metric_codes
from warehouse.tables import columns
from warehouse.vocabulary import LEFT_OUT, LIFTED_PCT_BW, LONGEST_CLUBS, STRUCK_FROM_PCT

FLOATS = NDArray[np.float64]
WEIGHT_OFF = 0.10  # quiet load against body weight
LOW_RATE_HZ = 100.0
SWAPPED_UNDER = 40.0  # % median finish lead share of a session's full swings
SWAP_CODES = ("finish_lead_share_pct", "impact_lead_share_pct", "lead_least_after_impact_pct_bw")
CROSSINGS = (None, "crossed", "before_top", "never")
HEEL_SOURCES = ("none", "measured", "estimated")
"""Words for the kernel's codes."""


@dataclass(frozen=True)
class SwingFlags:
    """Flags of one swing, each once and with a count."""

    names: list[str]
    counts: list[int]

    def with_flag(self, name: str, count: int) -> "SwingFlags":
        """The same with one more flag; one that is there already keeps the higher count."""
        if name in self.names:
            place = self.names.index(name)
            raised = [max(have, count) if i == place else have for i, have in enumerate(self.counts)]
            return SwingFlags(self.names, raised)
        return SwingFlags([*self.names, name], [*self.counts, count])


NO_FLAGS = SwingFlags([], [])


@dataclass(frozen=True)
class Reduction:
    """Sessions reduced: rows of academy.swing_metric, and usable, flags and heel source of each swing."""

    metrics: pl.DataFrame
    swings: pl.DataFrame
    estimated: pl.DataFrame  # rows of academy.swing_event, those the plate or the clip gave
    holds: pl.DataFrame  # session, swing_no and the measures of academy.hold
    heels: pl.DataFrame  # rows of academy.heel_seen, those that points of a film gave


@dataclass(frozen=True)
class Answer:
    """One session's answer before it is made into rows; n swings in the order of `keys`."""

    keys: pl.DataFrame  # session, swing_no, how the clip lies on the plate, and the clip's scale
    values: FLOATS  # (n, M) in the order of metrics.toml, NaN for null
    crossing: NDArray[np.int64]  # (n,) index into CROSSINGS
    heel_source: NDArray[np.int64]  # (n,) index into HEEL_SOURCES
    flags: list[SwingFlags]
    estimated: pl.DataFrame  # rows of academy.swing_event
    holds: pl.DataFrame  # session, swing_no and the measures of academy.hold
    heels: list[dict[str, Any]]  # rows of academy.heel_seen


def gather(answers: Sequence[Answer]) -> Reduction:
    """Make the answers of many sessions into rows at once, in their order.

    A swing is usable when it has a metric beside the stance, which needs no swing, and is a swing at all.
    """
    keys = pl.concat([answer.keys for answer in answers]).with_columns(pl.col("swing_no").cast(pl.Int32))
    values = np.concatenate([answer.values for answer in answers])
    crossing = np.array(CROSSINGS, dtype=object)[np.concatenate([answer.crossing for answer in answers])]
    heel_source = np.array(HEEL_SOURCES)[np.concatenate([answer.heel_source for answer in answers])]
    flags = [flags for answer in answers for flags in answer.flags]
    values_of = pl.DataFrame(values, schema=list(metric_codes()), orient="row").fill_nan(None)
    crossed = pl.Series("crossing", crossing.tolist(), dtype=pl.String)
    metrics = keys.select("session", "swing_no").hstack([crossed]).hstack(values_of)
    measured = np.isfinite(np.delete(values, metric_codes().index("stance_width_mm"), 1)).any(axis=1)
    counted = np.array([not set(LEFT_OUT) & set(found.names) for found in flags], dtype=bool)
    swings = keys.with_columns(
        usable=measured & counted,
        flags=_lists([found.names for found in flags], pa.string()),
        flag_counts=_lists([found.counts for found in flags], pa.int32()),
        heel_source=pl.Series(heel_source.tolist(), dtype=pl.String),
    )
    estimated = _stacked([answer.estimated for answer in answers])
    heels = pl.DataFrame([row for answer in answers for row in answer.heels], columns("academy.heel_seen"))
    return Reduction(metrics, swings, estimated, _stacked([answer.holds for answer in answers]), heels)


def _lists(values: Sequence[Sequence[str] | Sequence[int]], kind: pa.DataType) -> pl.Series:
    """A list column in one piece; Polars alone would make a small series of every list."""
    ends = np.cumsum([0, *map(len, values)], dtype=np.int32)
    flat = pa.array([value for some in values for value in some], type=kind)
    made: pl.Series = pl.Series(pa.ListArray.from_arrays(pa.array(ends), flat))
    return made


def _stacked(frames: list[pl.DataFrame]) -> pl.DataFrame:
    """DataFrames one below the other; the many empty ones are skipped."""
    return pl.concat([frame for frame in frames if frame.height] or frames[:1])


def model_flags(
    swings: pl.DataFrame, rows: Sequence[int], run: PlateRun, plate: Plate, unmarked: NDArray[np.bool_]
) -> list[SwingFlags]:
    """File flags and model flags of every swing of `swings`; `rows` finds it in the arrays (−1: no samples).

    `weight_mismatch`: the quiet load is over 10 % from body weight (count 1). `short_quiet`: samples missing
    from the ±150 ms about address, or after takeaway. `low_rate`: under 100 Hz (count: the rate, Hz).
    `unmarked`: how many of the seven events were not marked.
    """
    names, counts = swings["file_flags"].to_list(), swings["file_flag_counts"].to_list()
    files = [SwingFlags(n, c or []) if n else NO_FLAGS for n, c in zip(names, counts, strict=True)]
    rate_hz = run.trace.rate_hz
    with np.errstate(invalid="ignore"):
        off = np.abs(plate.weight_n - run.body_n) > WEIGHT_OFF * run.body_n
    found = {
        "weight_mismatch": off.astype(np.int64),
        "short_quiet": np.where(plate.quiet_missing > 1, plate.quiet_missing, 0),
        "low_rate": np.where(rate_hz < LOW_RATE_HZ, np.rint(rate_hz).astype(np.int64), 0),
        "unmarked": unmarked.sum(axis=1),
    }
    for name, raised in found.items():
        if raised.any():
            for place, row in enumerate(rows):
                if row >= 0 and raised[row] > 0:
                    files[place] = files[place].with_flag(name, int(raised[row]))
    return files


def feet_look_swapped(swings: pl.DataFrame, rows: Sequence[int], metrics: FLOATS) -> bool:
    """Whether the median finish lead share of the session's full swings is under 40 %; putts do not count.

    Nor does a long club's swing whose lead foot leaves the ground after a strike from it: that foot may come
    down anywhere, and under swapped feet it would not have carried the strike.
    """
    finish, impact, least = (metrics[:, metric_codes().index(code)] for code in SWAP_CODES)
    left = (least < LIFTED_PCT_BW) & (impact > STRUCK_FROM_PCT)
    swung = zip(rows, swings["pace"].to_list(), swings["club_family"].to_list(), strict=True)
    shares = [
        finish[row]
        for row, pace, club in swung
        if row >= 0 and pace == "full" and club != "putter" and not (club in LONGEST_CLUBS and left[row])
    ]
    shares = [share for share in shares if math.isfinite(share)]
    return bool(shares) and median(shares) < SWAPPED_UNDER
