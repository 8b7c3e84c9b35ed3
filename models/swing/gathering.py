"""Answers of many sessions' reductions, made into rows at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from models.swing.quality import SwingFlags
from warehouse.definitions import metric_codes

FLOATS = NDArray[np.float64]
CROSSINGS = (None, "crossed", "before_top", "never")
HEEL_SOURCES = ("none", "measured", "estimated")
"""Words for the kernel's codes."""


@dataclass(frozen=True)
class Reduction:
    """Sessions reduced: rows of academy.swing_metric, and usable, flags and heel source of each swing."""

    metrics: pl.DataFrame
    swings: pl.DataFrame
    estimated: pl.DataFrame  # rows of academy.swing_event, those the plate or the clip gave
    holds: pl.DataFrame  # session, swing_no and the measures of academy.hold


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


def gather(answers: Sequence[Answer]) -> Reduction:
    """Make the answers of many sessions into rows at once, in their order.

    A swing is usable when it has a metric beside the stance, which needs no swing.
    """
    keys = pl.concat([answer.keys for answer in answers]).with_columns(pl.col("swing_no").cast(pl.Int32))
    values = np.concatenate([answer.values for answer in answers])
    crossing = np.array(CROSSINGS, dtype=object)[np.concatenate([answer.crossing for answer in answers])]
    heel_source = np.array(HEEL_SOURCES)[np.concatenate([answer.heel_source for answer in answers])]
    flags = [flags for answer in answers for flags in answer.flags]
    columns = pl.DataFrame(values, schema=list(metric_codes()), orient="row").fill_nan(None)
    metrics = (
        keys.select("session", "swing_no")
        .with_columns(pl.Series("crossing", crossing.tolist(), dtype=pl.String))
        .hstack(columns)
    )
    swings = keys.with_columns(
        usable=np.isfinite(np.delete(values, metric_codes().index("stance_width_mm"), 1)).any(axis=1),
        flags=_lists([found.names for found in flags], pa.string()),
        flag_counts=_lists([found.counts for found in flags], pa.int32()),
        heel_source=pl.Series(heel_source.tolist(), dtype=pl.String),
    )
    return Reduction(
        metrics,
        swings,
        _stacked([answer.estimated for answer in answers]),
        _stacked([answer.holds for answer in answers]),
    )


def _lists(values: Sequence[Sequence[str] | Sequence[int]], kind: pa.DataType) -> pl.Series:
    """A list column in one piece; Polars alone would make a small series of every list."""
    ends = np.cumsum([0, *map(len, values)], dtype=np.int32)
    flat = pa.array([value for some in values for value in some], type=kind)
    made: pl.Series = pl.Series(pa.ListArray.from_arrays(pa.array(ends), flat))
    return made


def _stacked(frames: list[pl.DataFrame]) -> pl.DataFrame:
    """DataFrames one below the other; the many empty ones are skipped."""
    return pl.concat([frame for frame in frames if frame.height] or frames[:1])
