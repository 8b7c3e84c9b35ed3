"""Quality flags of a swing: those its file came with and those only the models can see, with counts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.swing.kernel import Plate, PlateRun

FLOATS = NDArray[np.float64]
WEIGHT_OFF = 0.10  # quiet load against body weight
LOW_RATE_HZ = 100.0
SWAPPED_UNDER = 40.0  # % median finish lead share of a session's full swings


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


def model_flags(
    swings: pl.DataFrame, rows: Sequence[int], run: PlateRun, plate: Plate, unmarked: NDArray[np.bool_]
) -> list[SwingFlags]:
    """File flags and model flags of every swing of `swings`; `rows` finds it in the arrays (−1: no samples).

    `weight_mismatch`: the quiet load is over 10 % from body weight (count 1). `short_quiet`: samples missing
    from the ±150 ms about address, or after takeaway. `low_rate`: under 100 Hz (count: the rate, Hz).
    `unmarked`: how many of the seven events were not marked.
    """
    files, rate_hz = _file_flags(swings), run.trace.rate_hz
    with np.errstate(invalid="ignore"):
        off = np.abs(plate.weight_n - run.body_n) > WEIGHT_OFF * run.body_n
    found = {
        "weight_mismatch": off.astype(np.int64),
        "short_quiet": np.where(plate.quiet_missing > 1, plate.quiet_missing, 0),
        "low_rate": np.where(rate_hz < LOW_RATE_HZ, np.rint(rate_hz).astype(np.int64), 0),
        "unmarked": unmarked.sum(axis=1),
    }
    for name, counts in found.items():
        if not counts.any():
            continue
        listed = counts.tolist()
        for place, row in enumerate(rows):
            if row >= 0 and listed[row] > 0:
                files[place] = files[place].with_flag(name, listed[row])
    return files


def _file_flags(swings: pl.DataFrame) -> list[SwingFlags]:
    """What the reader of the file noted for each swing."""
    if "file_flags" not in swings.columns:
        return [NO_FLAGS] * len(swings)
    names, counts = swings["file_flags"].to_list(), swings["file_flag_counts"].to_list()
    return [SwingFlags(n, c or []) if n else NO_FLAGS for n, c in zip(names, counts, strict=True)]


def feet_look_swapped(swings: pl.DataFrame, rows: Sequence[int], finish_lead_share: FLOATS) -> bool:
    """Whether the median finish lead share of the session's full swings is under 40 %; putts do not count."""
    full = swings["pace"].to_list() if "pace" in swings.columns else ["full"] * len(swings)
    family = swings["club_family"].to_list() if "club_family" in swings.columns else [None] * len(swings)
    full_rows = [
        row
        for row, pace, club in zip(rows, full, family, strict=True)
        if row >= 0 and pace == "full" and club != "putter"
    ]
    shares = [share for share in finish_lead_share[full_rows].tolist() if math.isfinite(share)]
    return bool(shares) and median(shares) < SWAPPED_UNDER
