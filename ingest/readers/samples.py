"""Rules on samples: clocks, ranges, positions, heel loads; the good swings become a trace, the bad are named.

Rows are sorted by time within a swing. A time given twice, a clock that runs back in its file by more than a
sample, and a rate outside 50–2,000 Hz refuse the swing; so does a value out of its range.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.readers.plates import Joined
from ingest.readers.sheet import SessionSheet
from ingest.readers.signals import middle, rows_by_swing, saturated, snapped
from ingest.refusing import refusal, spoken
from warehouse.contracts.base import Failure, failures
from warehouse.contracts.deliveries import PlateSample
from warehouse.errors import Refusal
from warehouse.traces import SAMPLE_COLUMNS, SessionTrace
from warehouse.units import STANDARD_GRAVITY_M_S2

SLOWEST_HZ, FASTEST_HZ, LOW_RATE_HZ = 50.0, 2000.0, 100.0
DROPOUT_PERIODS = 3.0
ALONG_LOW_PCT, ALONG_HIGH_PCT = -10.0, 110.0
CARRYING_SHARE = 0.05  # of body weight: below, a foot's centre of pressure means nothing
HEEL_OVER_FOOT_N = 20.0
REGULAR_WITHIN = 0.25  # of a sample period: closer than this to an even grid is a rounded, regular clock
_LOADS = ("lead_n", "trail_n", "lead_heel_n", "trail_heel_n")
_ALONG = ("lead_along_pct", "trail_along_pct")
_AGAIN = "mend it and deliver the session again"
_EXPORT = "export the swing again and deliver the session again"

Array = NDArray[np.float64]
Problem = tuple[str, str, str, int, str]  # reason, what, what to do, row, our column


@dataclass(frozen=True)
class SwingSamples:
    """One good swing's clock and file flags; `order` picks its rows of the joined frame, in time order."""

    swing_no: int
    order: NDArray[np.int64]
    rate_hz: float
    t0_s: float
    end_s: float
    regular: bool
    heels: bool  # heel loads were measured
    flags: dict[str, int]


class Samples:
    """All samples of a session, checked swing by swing. `good` and `refused` are the outcome."""

    def __init__(self, joined: Joined, sheet: SessionSheet) -> None:
        self.joined = joined
        self.sheet = sheet
        self.values: dict[str, Array] = {
            name: joined.frame[name].to_numpy() for name in joined.frame.columns if name != "swing_no"
        }
        number = joined.frame["swing_no"].fill_null(-1).to_numpy()
        self.rows = rows_by_swing(number)
        self.good: dict[int, SwingSamples] = {}
        self.refused: list[Refusal] = []
        self._broken = self._broken_by_swing(number)
        self._astray = {name: self._outside(self.values[name]) for name in _ALONG}
        self._heel_over = {
            foot: self.values[f"{foot}_heel_n"] > self.values[f"{foot}_n"] + HEEL_OVER_FOOT_N
            for foot in ("lead", "trail")
            if f"{foot}_heel_n" in self.values
        }
        self._check_all()

    @staticmethod
    def _outside(along: Array) -> NDArray[np.bool_]:
        """Where a centre of pressure is missing or off the foot."""
        with np.errstate(invalid="ignore"):
            return ~((along >= ALONG_LOW_PCT) & (along <= ALONG_HIGH_PCT))

    def _broken_by_swing(self, number: NDArray[np.int64]) -> dict[int, list[Failure]]:
        cells = self.joined.broken()
        named = {(f.index, self._ours(f)) for f in cells}
        found = [f for f in failures(PlateSample, self.joined.frame) if (f.index, f.column) not in named]
        by_swing: dict[int, list[Failure]] = {}
        for failure in sorted([*cells, *found], key=lambda f: f.index or 0):
            by_swing.setdefault(int(number[failure.index or 0]), []).append(failure)
        return by_swing

    def _ours(self, failure: Failure) -> str:
        file, _ = self.joined.place(failure.index or 0)
        return next((n for n, s in file.sources.items() if s.theirs == failure.column), failure.column)

    def _check_all(self) -> None:
        known = self.sheet.swings.keys() | self.sheet.holds.keys()
        already = {r.swing_no for r in self.sheet.refused}
        for swing_no, rows in self.rows.items():
            if swing_no in already:
                continue
            if swing_no < 0:
                self._refuse_unnumbered()
            elif swing_no not in known:
                what = "session.toml has no such swing"
                todo = f"add a [[swing]] with no = {swing_no} or correct the number, and deliver again"
                self._refuse("unmatched_swing", swing_no, what, todo, int(rows[0]), "swing_no")
            elif swing_no in self._broken:
                self._refuse_broken(swing_no, self._broken[swing_no])
            else:
                self._check(swing_no, rows)
        for swing_no in sorted(known - self.rows.keys() - already):
            self.refused.append(
                refusal(
                    "no_samples",
                    "the plate file has no rows of this swing",
                    "deliver the session again with them, or take the swing out of session.toml",
                    session=self.sheet.session,
                    swing_no=swing_no,
                    file=self.joined.files[0].file,
                )
            )

    def _refuse(
        self, reason: str, swing_no: int | None, what: str, todo: str, row: int, ours: str | None
    ) -> None:
        file, line = self.joined.place(row)
        source = file.sources.get(ours) if ours else None
        self.refused.append(
            refusal(
                reason,
                what,
                todo,
                session=self.sheet.session,
                swing_no=swing_no,
                file=file.file,
                line=line,
                column=source.theirs if source else ours,
            )
        )

    def _refuse_unnumbered(self) -> None:
        first = self._broken[-1][0]
        count = len(self.rows[-1])
        what = spoken(first, first.column) + (f" (and {count - 1} more such rows)" if count > 1 else "")
        self._refuse("unmatched_swing", None, what, _AGAIN, first.index or 0, "swing_no")

    def _refuse_broken(self, swing_no: int, broken: list[Failure]) -> None:
        first = broken[0]
        row = first.index or 0
        ours = self._ours(first)
        source = self.joined.place(row)[0].sources[ours]
        if first.reason == "out_of_range" and ours in self.values:
            what = f"{source.theirs} is {source.spoken(float(self.values[ours][row]))} but {first.rule}"
        else:
            what = spoken(first, source.theirs)
        if len(broken) > 1:
            what += f" (and {len(broken) - 1} more such values)"
        self._refuse(first.reason, swing_no, what, _AGAIN, row, ours)

    def _check(self, swing_no: int, rows: NDArray[np.int64]) -> None:
        times, order = self.values["t_s"][rows], rows
        if np.any(times[1:] <= times[:-1]):
            order = rows[np.argsort(times, kind="stable")]
        steps = np.diff(self.values["t_s"][order])
        period = middle(steps)
        problem = self._clock_problem(rows, order, steps, period) or self._position_problem(order)
        if problem is not None:
            reason, what, todo, row, ours = problem
            self._refuse(reason, swing_no, what, todo, row, ours)
            return
        self.good[swing_no] = self._describe(swing_no, order, steps, period)

    def _clock_problem(
        self, rows: NDArray[np.int64], order: NDArray[np.int64], steps: Array, period: float
    ) -> Problem | None:
        if not len(steps):
            return "rate", "there is only one sample", _AGAIN, int(order[0]), "t_s"
        if steps.min() <= 0:
            k = int(np.flatnonzero(steps <= 0)[0])
            what = f"the time {self.values['t_s'][order[k]]:.10g} s stands twice"
            return "same_time_twice", what, _EXPORT, int(order[k + 1]), "t_s"
        back = self._runs_back(rows, period) if order is not rows else None
        if back is not None:
            return "clock_runs_back", "the clock runs back by more than a sample", _EXPORT, back, "t_s"
        rate = 1.0 / period
        if not SLOWEST_HZ * (1 - 1e-6) <= rate <= FASTEST_HZ * (1 + 1e-6):
            what = f"the swing was sampled at {rate:.4g} Hz but must be at 50 to 2000 Hz"
            todo = "check the unit of the clock in academy.toml and deliver again"
            return "rate", what, todo, int(order[0]), "t_s"
        return None

    def _runs_back(self, rows: NDArray[np.int64], period: float) -> int | None:
        """First row whose time, within its file, stands more than a sample before the row above it."""
        steps = np.diff(self.values["t_s"][rows])
        file = np.searchsorted(self.joined.starts, rows, side="right")
        back = np.flatnonzero((steps < -1.5 * period) & (np.diff(file) == 0))
        return int(rows[back[0] + 1]) if back.size else None

    def _position_problem(self, order: NDArray[np.int64]) -> Problem | None:
        for foot in ("lead", "trail"):
            name, load = f"{foot}_along_pct", self.values[f"{foot}_n"]
            astray = order[self._astray[name][order]]
            if astray.size:
                bad = astray[load[astray] > CARRYING_SHARE * self._body_weight_n(order)]
                if bad.size:
                    return self._along_words(name, int(bad[0]), float(load[bad[0]]), bad.size)
            over = order[self._heel_over[foot][order]] if foot in self._heel_over else order[:0]
            if over.size:
                row, heel = int(over[0]), self.values[f"{foot}_heel_n"]
                what = f"the heel carries {heel[row]:.4g} N but the whole foot only {load[row]:.4g} N"
                return "heel_over_foot", what, _AGAIN, row, f"{foot}_heel_n"
        return None

    def _along_words(self, name: str, row: int, load: float, count: int) -> Problem:
        source = self.joined.place(row)[0].sources[name]
        value = float(self.values[name][row])
        given = "empty" if np.isnan(value) else source.spoken(value)
        if source.unit and not np.isnan(value):
            given += f" ({value:.4g} % of foot length)"
        what = (
            f"{source.theirs} is {given} while the foot carries {load:.4g} N, "
            "but must be -10 to 110 % of foot length"
        )
        if count > 1:
            what += f" (and {count - 1} more such values)"
        return ("empty_value" if np.isnan(value) else "out_of_range"), what, _AGAIN, row, name

    def _body_weight_n(self, order: NDArray[np.int64]) -> float:
        """Body weight as ingest can know it: from the given mass, else the swing's median total load."""
        if self.sheet.body_mass_kg is not None:
            return self.sheet.body_mass_kg * STANDARD_GRAVITY_M_S2
        return float(np.median(self.values["lead_n"][order] + self.values["trail_n"][order]))

    def _describe(self, swing_no: int, order: NDArray[np.int64], steps: Array, period: float) -> SwingSamples:
        times = self.values["t_s"][order]
        grid_rate = snapped((len(times) - 1) / float(times[-1] - times[0]))
        drift = np.abs(times - (times[0] + np.arange(len(times)) / grid_rate)).max()
        regular = bool(drift <= REGULAR_WITHIN * period)
        rate = grid_rate if regular else snapped(1.0 / period)
        flags = {
            "dropout": int(np.count_nonzero(steps > DROPOUT_PERIODS * period)),
            "negative_load": sum(
                int(np.count_nonzero(self.values[name][order] < 0)) for name in _LOADS if name in self.values
            ),
            "saturated": sum(saturated(self.values[n][order], period) for n in ("lead_n", "trail_n")),
            "low_rate": int(rate < LOW_RATE_HZ),
        }
        return SwingSamples(
            swing_no,
            order,
            rate,
            float(times[0]),
            float(times[-1]),
            regular,
            self._heels(order),
            {name: count for name, count in flags.items() if count},
        )

    def _heels(self, order: NDArray[np.int64]) -> bool:
        columns = [self.values.get(name) for name in ("lead_heel_n", "trail_heel_n")]
        return all(c is not None and not np.isnan(c[order]).all() for c in columns)

    def trace(self, kept: Iterable[int]) -> SessionTrace:
        """The samples of the kept swings, by swing number, ready to be written."""
        swings = [self.good[no] for no in sorted(kept)]
        order = np.concatenate([s.order for s in swings])
        columns = {name: self._column(name, order) for name in SAMPLE_COLUMNS if name in self.values}
        return SessionTrace(
            session=self.sheet.session,
            swing_no=np.array([s.swing_no for s in swings], dtype=np.int32),
            offsets=np.concatenate([[0], np.cumsum([len(s.order) for s in swings])]).astype(np.int64),
            rate_hz=np.array([s.rate_hz for s in swings]),
            t0_s=np.array([s.t0_s for s in swings]),
            columns=columns,
            t_s=None if all(s.regular for s in swings) else self.values["t_s"][order],
        )

    def _column(self, name: str, order: NDArray[np.int64]) -> NDArray[np.float32]:
        values = self.values[name][order]
        if name in _LOADS:
            values = np.where(values < 0, 0.0, values)
        elif name.endswith("_along_pct"):
            # Out of range is only left where the foot carries nothing: no number there means anything.
            values = np.where(self._astray[name][order], np.nan, values)
        return values.astype(np.float32)
