"""Samples of both feet as rows: one file's, a session's files joined, one swing's; clocks and saturation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from warehouse.contracts.base import Failure, columns_of, failures
from warehouse.contracts.deliveries import PlateSample

Array = NDArray[np.float64]
SATURATED_RUN_S, SATURATED_RUN_SAMPLES = 0.03, 5
SNAP_WITHIN = 1e-6
EVEN_WITHIN = 1e-3  # of the shortest step: closer than this, steps are all alike
ON_GRID_WITHIN = 0.2  # of a sample period
PLAIN_HZ = (110.0, 1900.0)
Rows = slice | NDArray[np.int64]  # of a table: a slice when they are consecutive, so that nothing is copied


@dataclass(frozen=True)
class Source:
    """Where one of our columns comes from: the sum of the file's columns × factor + add, in our unit.

    theirs: the file's own name of it, for what is said. share_of: it is % of this column of ours ("both": of
    both feet's load). rest_of: it is what is left of that column.
    """

    ours: str
    theirs: str
    factor: float = 1.0
    unit: str | None = None
    columns: tuple[str, ...] = ()
    add: float = 0.0
    share_of: str | None = None
    rest_of: str | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """The file's columns that are summed."""
        return self.columns or (self.theirs,)

    def in_words(self, value: float) -> str:
        """A value of ours as the file gave it, with the file's own unit."""
        if self.share_of is not None or self.rest_of is not None:
            return f"{value:.6g}"
        given = f"{(value - self.add) / self.factor:.6g}"
        return f"{given} {self.unit}" if self.unit else given


@dataclass(frozen=True)
class FoundSwing:
    """One swing of a recording; times in s on its clock.

    start_s, strike_s, end_s: the load leaves the stand, passes to the lead foot fastest, and has arrived.
    from_s, to_s: what is kept around it. standing_n: both feet's load, standing, in that visit to the plate.
    toward: 1 where the load went to the lead foot, -1 where it went the way of one who plays with the other
    hand. sure: 0 to 1, that `kind` is right.
    """

    kind: str
    sure: float
    start_s: float
    strike_s: float
    end_s: float
    from_s: float
    to_s: float
    standing_n: float
    toward: int


@dataclass(frozen=True)
class SampleFile:
    """One file's samples in the file's own order, the line each was on, and what else the file says.

    columns: ours, each (rows,), NaN where empty. broken: cells that are not numbers. events: labelled in a
    recording, seconds by name, by swing. flags: what its reader saw of a swing, with a count each. stance_mm
    and body_mass_kg count where session.toml gives none. notice: a sentence on what was repaired. found: the
    swings that it was cut into, by number, where the file runs on.
    """

    file: str
    columns: Mapping[str, Array]
    lines: NDArray[np.int64]  # (rows,)
    sources: dict[str, Source]
    broken: list[Failure] = field(default_factory=list)
    events: dict[int, dict[str, float]] = field(default_factory=dict)
    flags: dict[int, dict[str, int]] = field(default_factory=dict)
    stance_mm: tuple[float, ...] | None = None
    body_mass_kg: float | None = None
    notice: str | None = None
    found: dict[int, FoundSwing] = field(default_factory=dict)

    @property
    def numbers(self) -> list[int]:
        """The numbers of the swings and holds in it, in order."""
        given = self.columns["swing_no"]
        return [int(no) for no in np.unique(given[np.isfinite(given)]) if no >= 0]

    def forward(self) -> "SampleFile":
        """The same, first sample first, where the file has the newest on top throughout."""
        steps, same = np.diff(self.columns["t_s"]), np.diff(self.columns["swing_no"]) == 0
        if self.broken or not same.any() or not (steps[same] < 0).all():
            return self
        columns = {name: values[::-1].copy() for name, values in self.columns.items()}
        return replace(self, columns=columns, lines=self.lines[::-1].copy())

    @classmethod
    def of(cls, file: str, samples: pl.DataFrame) -> "SampleFile":
        """Samples that are in our names and units already, one row a sample."""
        names = [name for name in columns_of(PlateSample) if name in samples.columns]
        columns = {name: samples[name].cast(pl.Float64).to_numpy() for name in names}
        sources = {name: Source(name, name) for name in columns}
        return cls(file, columns, np.arange(1, len(samples) + 1), sources)


@dataclass(frozen=True)
class SwingSamples:
    """One good swing's clock and file flags; `order` picks its rows of the joined files, in time order."""

    swing_no: int
    order: Rows
    n_samples: int
    rate_hz: float
    t0_s: float
    end_s: float
    regular: bool
    heels: bool  # heel loads were measured
    flags: dict[str, int]


@dataclass(frozen=True)
class Span:
    """Lowest and highest number of a column (0 and 0 without any), and whether some are missing."""

    low: float
    high: float
    gaps: bool

    @classmethod
    def of(cls, values: Array) -> "Span":
        """The span of a column, NaN where a number is missing."""
        low, high = float(values.min()), float(values.max())  # one NaN makes both NaN
        if low == low:  # noqa: PLR0124 - not NaN
            return cls(low, high, gaps=False)
        known = values[~np.isnan(values)]
        return cls(float(known.min()), float(known.max()), gaps=True) if known.size else cls(0, 0, gaps=True)


@dataclass(frozen=True)
class Joined:
    """All sample files of a session, one below the other, in file order."""

    columns: Mapping[str, Array]  # as in SampleFile, in the contract's order
    files: Sequence[SampleFile]
    starts: NDArray[np.int64]  # first row of each file

    @cached_property
    def swing_no(self) -> NDArray[np.int64]:
        """Swing number of every row; -1 where there is none."""
        number = self.columns["swing_no"]
        if number.min() >= 0 and number.max() <= np.iinfo(np.int32).max:  # no comparison holds for NaN
            return number.astype(np.int64)
        return self.frame()["swing_no"].fill_null(-1).to_numpy()

    def frame(self) -> pl.DataFrame:
        """The rows in the contract's own types, to find out what is wrong with them."""
        frame = pl.DataFrame(dict(self.columns)).with_columns(pl.all().fill_nan(None))
        return frame.with_columns(pl.col("swing_no").cast(pl.Int64, strict=False))

    def place(self, row: int) -> tuple[SampleFile, int]:
        """File and line that a row of the joined files comes from."""
        k = int(np.searchsorted(self.starts, row, side="right")) - 1
        file = self.files[k]
        return file, int(file.lines[row - int(self.starts[k])])

    def ours(self, failure: Failure) -> str:
        """Our name of a failure's column."""
        file, _ = self.place(failure.index or 0)
        return next((n for n, s in file.sources.items() if s.theirs == failure.column), failure.column)

    def broken_by_swing(self, spans: Mapping[str, Span]) -> dict[int, list[Failure]]:
        """Every broken rule by swing number, in row order; `spans` of all columns may show there is none."""
        cells = [
            Failure(f.reason, f.column, f.rule, int(start) + (f.index or 0), f.value)
            for start, file in zip(self.starts, self.files, strict=True)
            for f in file.broken
        ]
        if not cells and not failures(PlateSample, _extremes(spans)):
            return {}
        named = {(f.index, self.ours(f)) for f in cells}
        found = [f for f in failures(PlateSample, self.frame()) if (f.index, f.column) not in named]
        by_swing: dict[int, list[Failure]] = {}
        for failure in sorted([*cells, *found], key=lambda f: f.index or 0):
            by_swing.setdefault(int(self.swing_no[failure.index or 0]), []).append(failure)
        return by_swing


def _extremes(spans: Mapping[str, Span]) -> pl.DataFrame:
    """Each column's extremes, and a gap where it has one: when any row breaks a limit, one of these does."""
    columns = [
        pl.Series(name, [s.low, s.high, None if s.gaps else s.low], dtype=pl.Float64)
        for name, s in spans.items()
    ]
    return pl.DataFrame([c.cast(pl.Int64, strict=False) if c.name == "swing_no" else c for c in columns])


def join(files: Sequence[SampleFile]) -> Joined:
    """Put a session's sample files below one another; a column that one of them lacks is empty there."""
    starts = np.cumsum([0, *(len(f.lines) for f in files)])[:-1]
    if len(files) == 1:
        return Joined(files[0].columns, files, starts)
    names = [name for name in columns_of(PlateSample) if any(name in f.columns for f in files)]
    parts = {n: [f.columns.get(n, np.full(len(f.lines), np.nan)) for f in files] for n in names}
    return Joined({name: np.concatenate(parts[name]) for name in names}, files, starts)


def rows_by_swing(number: NDArray[np.int64]) -> dict[int, Rows]:
    """Rows of each swing in file order, the swings by number."""
    first = np.flatnonzero(np.diff(number)) + 1
    starts, ends = [0, *first.tolist()], [*first.tolist(), number.size]
    found = number[starts].tolist()
    if len(set(found)) == len(found):
        blocks = {no: slice(start, end) for no, start, end in zip(found, starts, ends, strict=True)}
        return {no: blocks[no] for no in sorted(blocks)}
    order = np.argsort(number, kind="stable")
    numbers, first = np.unique(number[order], return_index=True)
    parts = np.split(order, first[1:])
    return {int(no): part for no, part in zip(numbers, parts, strict=True)}


def rows_of(rows: Rows) -> NDArray[np.int64]:
    """The row numbers themselves."""
    return np.arange(rows.start, rows.stop) if isinstance(rows, slice) else rows


def row_of(rows: Rows, place: int) -> int:
    """Number of the row at a place among them."""
    return int(rows.start) + place if isinstance(rows, slice) else int(rows[place])


def together(parts: Sequence[Rows]) -> Rows:
    """Rows one after another; still a slice when each part directly follows the one before."""
    slices = [part for part in parts if isinstance(part, slice)]
    if len(slices) == len(parts) and all(a.stop == b.start for a, b in pairwise(slices)):
        return slice(slices[0].start, slices[-1].stop)
    return np.concatenate([rows_of(part) for part in parts])


def middle(steps: Array) -> float:
    """Median step of a clock (s); 0 without any. Steps that hardly differ are all their own median."""
    if not len(steps):
        return 0.0
    low, high = float(steps.min()), float(steps.max())
    if high - low <= 1e-3 * low:
        return float(steps.mean())
    return float(np.median(steps))


def snapped(rate_hz: float) -> float:
    """A rate within a millionth of a whole number is that number: the rest is the clock's rounding."""
    nearest = round(rate_hz)
    return float(nearest) if nearest and abs(rate_hz - nearest) <= SNAP_WITHIN * nearest else rate_hz


def saturated(load: Array, period_s: float) -> int:
    """Samples at the swing's highest load, when they form a flat run that no living foot makes; else 0."""
    top = load.max()
    at_top = load == top
    count = int(np.count_nonzero(at_top))
    if top <= 0 or count < SATURATED_RUN_SAMPLES:
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at_top.astype(np.int8), [0]])))
    longest = int((edges[1::2] - edges[::2]).max())
    flat = longest >= SATURATED_RUN_SAMPLES and longest * period_s >= SATURATED_RUN_S
    return count if flat else 0


def plain_swings(rows: Mapping[int, Rows], values: Mapping[str, Array]) -> dict[int, float]:
    """Rates (Hz) of swings whose clock runs evenly on its grid and whose loads never stay at their top.

    Missing values are for the contract to find. None is named where swings lie among one another.
    """
    blocks = {no: part for no, part in rows.items() if isinstance(part, slice) and part.stop - part.start > 1}
    if len(blocks) < len(rows):
        return {}
    numbers = sorted(blocks, key=lambda no: int(blocks[no].start))
    starts = np.array([blocks[no].start for no in numbers])
    ends = np.array([blocks[no].stop for no in numbers])
    counts, time = ends - starts, values["t_s"]
    with np.errstate(invalid="ignore", divide="ignore"):
        steps, bounds = np.diff(time), np.stack([starts, ends - 1], axis=1).ravel()[:-1]
        low, high = (reach.reduceat(steps, bounds)[::2] for reach in (np.minimum, np.maximum))
        first, last = time[starts], time[ends - 1]
        rates = (counts - 1) / (last - first)
        nearest = np.rint(rates)  # `snapped`, for all of them
        rates = np.where(np.abs(rates - nearest) <= SNAP_WITHIN * nearest, nearest, rates)
        place = np.arange(time.size) - np.repeat(starts, counts)
        drift = np.abs(time - (np.repeat(first, counts) + place / np.repeat(rates, counts)))
        plain = (low > 0) & (high - low <= EVEN_WITHIN * low)
        plain &= np.maximum.reduceat(drift, starts) <= ON_GRID_WITHIN * low
        plain &= (rates >= PLAIN_HZ[0]) & (rates <= PLAIN_HZ[1])
    for name in ("lead_n", "trail_n"):
        top = np.repeat(np.maximum.reduceat(values[name], starts), counts)
        plain &= np.add.reduceat(values[name] == top, starts, dtype=np.int64) < SATURATED_RUN_SAMPLES
    return {no: rate for no, fine, rate in zip(numbers, plain, rates.tolist(), strict=True) if fine}
