"""Rules on samples: clocks, ranges, positions, heel loads; the good swings become a trace, the bad are named.

Rows are sorted by time within a swing. A time given twice, a clock that runs back in its file by more than a
sample, and a rate outside 50–2,000 Hz refuse the swing; so does a value out of its range.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from ingest.plate_rows import (
    Array,
    Joined,
    Rows,
    Span,
    SwingSamples,
    middle,
    plain_swings,
    row_of,
    rows_by_swing,
    rows_of,
    saturated,
    snapped,
    together,
)
from ingest.refusals import AGAIN, in_words, refuse
from ingest.session_file import SessionHeader
from warehouse.contracts.base import Failure
from warehouse.errors import Refusal
from warehouse.traces import SessionTrace
from warehouse.units import STANDARD_GRAVITY_M_S2
from warehouse.vocabulary import SAMPLE_COLUMNS

SLOWEST_HZ, FASTEST_HZ, LOW_RATE_HZ = 50.0, 2000.0, 100.0
DROPOUT_PERIODS = 3.0
ALONG_LOW_PCT, ALONG_HIGH_PCT = -10.0, 110.0
WEIGHT_WITHIN = 0.25  # of body weight: beyond it a unit, a zero or a mass is wrong, not a swing unusual
LIGHTEST_N, HEAVIEST_N = 150.0, 2500.0  # where no body mass is given
CARRYING_SHARE = 0.05  # of body weight: below, a foot's centre of pressure means nothing
HEEL_OVER_FOOT_N = 20.0
REGULAR_WITHIN = 0.25  # of a sample period: closer than this to an even grid is a rounded, regular clock
_LOADS = ("lead_n", "trail_n", "lead_heel_n", "trail_heel_n")
_ALONG = ("lead_along_pct", "trail_along_pct")
_EXPORT = "export the swing again and deliver the session again"
Problem = tuple[str, str, str, int, str]  # reason, what, what to do, row, our column


def _more(count: int, things: str) -> str:
    """The rest of `count` that is not shown."""
    return f" (and {count - 1} more such {things})" if count > 1 else ""


class Samples:
    """All samples of a session, checked swing by swing. `good` and `refused` are the outcome."""

    def __init__(self, joined: Joined, header: SessionHeader) -> None:
        self.joined = joined
        self.header = header
        self.values = {name: values for name, values in joined.columns.items() if name != "swing_no"}
        self.rows = rows_by_swing(joined.swing_no)
        self.good: dict[int, SwingSamples] = {}
        self.refused: list[Refusal] = []
        self._spans = {name: Span.of(values) for name, values in joined.columns.items()}
        self._broken = joined.broken_by_swing(self._spans)
        given = {name for file in joined.files for name in file.sources}
        self._off_foot = {name: self._outside(name) if name in given else None for name in _ALONG}
        self._heel_over = self._heels_over()
        self._plain = plain_swings(self.rows, self.values)
        self._check_all()

    def _outside(self, name: str) -> NDArray[np.bool_] | None:
        """Where a centre of pressure is missing or off the foot; None when nowhere."""
        along, reach = self.values[name], self._spans[name]
        if not reach.gaps and reach.low >= ALONG_LOW_PCT and reach.high <= ALONG_HIGH_PCT:
            return None
        with np.errstate(invalid="ignore"):
            return ~((along >= ALONG_LOW_PCT) & (along <= ALONG_HIGH_PCT))

    def _heels_over(self) -> dict[str, NDArray[np.bool_]]:
        """Where a heel carries more than its foot, for the feet where it does somewhere."""
        measured = [foot for foot in ("lead", "trail") if f"{foot}_heel_n" in self.values]
        heels = {foot: self.values[f"{foot}_heel_n"] for foot in measured}
        over = {foot: heel > self.values[f"{foot}_n"] + HEEL_OVER_FOOT_N for foot, heel in heels.items()}
        return {foot: where for foot, where in over.items() if where.any()}

    def _check_all(self) -> None:
        known = self.header.swings.keys() | self.header.holds.keys()
        already = {r.swing_no for r in self.header.refused}
        for swing_no, rows in self.rows.items():
            if swing_no in already:
                continue
            if swing_no < 0:
                first = self._broken[-1][0]
                what = in_words(first, first.column) + _more(rows_of(rows).size, "rows")
                self._refuse(None, ("unmatched_swing", what, AGAIN, first.index or 0, "swing_no"))
            elif swing_no not in known:
                what = "session.toml has no such swing"
                todo = f"add a [[swing]] with no = {swing_no} or correct the number, and deliver again"
                self._refuse(swing_no, ("unmatched_swing", what, todo, row_of(rows, 0), "swing_no"))
            elif swing_no in self._broken:
                self._refuse(swing_no, self._broken_words(self._broken[swing_no]))
            else:
                self._check(swing_no, rows)
        for swing_no in sorted(known - self.rows.keys() - already):
            what = "the plate file has no rows of this swing"
            todo = "deliver the session again with them, or take the swing out of session.toml"
            place = {"session": self.header.session, "swing_no": swing_no, "file": self.joined.files[0].file}
            self.refused.append(refuse("no_samples", what, todo, **place).refusal)

    def _refuse(self, swing_no: int | None, problem: Problem) -> None:
        reason, what, todo, row, ours = problem
        file, line = self.joined.place(row)
        column = file.sources[ours].theirs if ours in file.sources else ours
        place = {"session": self.header.session, "swing_no": swing_no, "line": line, "column": column}
        self.refused.append(refuse(reason, what, todo, file=file.file, **place).refusal)

    def _broken_words(self, broken: list[Failure]) -> Problem:
        first, row = broken[0], broken[0].index or 0
        ours = self.joined.ours(first)
        source = self.joined.place(row)[0].sources[ours]
        what = in_words(first, source.theirs)
        if first.reason == "out_of_range" and ours in self.values:
            what = f"{source.theirs} is {source.in_words(float(self.values[ours][row]))} but {first.rule}"
        return first.reason, what + _more(len(broken), "values"), AGAIN, row, ours

    def _check(self, swing_no: int, rows: Rows) -> None:
        order, problem, plain = rows, None, self._plain.get(swing_no)
        if plain is None:
            times = self.values["t_s"][rows]
            steps = np.diff(times)
            if steps.min(initial=np.inf) <= 0:
                order = rows_of(rows)[np.argsort(times, kind="stable")]
                steps = np.diff(self.values["t_s"][order])
            period = middle(steps)
            problem = self._clock_problem(rows, order, steps, period)
        problem = problem or self._weight_problem(swing_no, order) or self._position_problem(order)
        if problem is not None:
            self._refuse(swing_no, problem)
        elif plain is not None:
            flags = {"negative_load": self._negative(order)}
            self.good[swing_no] = self._swing(swing_no, order, plain, flags, regular=True)
        else:
            self.good[swing_no] = self._describe(swing_no, order, steps, period)

    def _clock_problem(self, rows: Rows, order: Rows, steps: Array, period: float) -> Problem | None:
        if not len(steps):
            return "rate", "there is only one sample", AGAIN, row_of(order, 0), "t_s"
        if order is not rows and steps.min() <= 0:
            k = int(np.flatnonzero(steps <= 0)[0])
            what = f"the time {self.values['t_s'][row_of(order, k)]:.10g} s appears twice"
            return "same_time_twice", what, _EXPORT, row_of(order, k + 1), "t_s"
        back = self._runs_back(rows_of(rows), period) if order is not rows else None
        if back is not None:
            return "clock_runs_back", "the clock runs back by more than a sample", _EXPORT, back, "t_s"
        rate = 1.0 / period
        if not SLOWEST_HZ * (1 - 1e-6) <= rate <= FASTEST_HZ * (1 + 1e-6):
            what = f"the swing was sampled at {rate:.4g} Hz but must be at 50 to 2000 Hz"
            todo = "check the unit of the clock in academy.toml and deliver again"
            return "rate", what, todo, row_of(order, 0), "t_s"
        return None

    def _runs_back(self, rows: NDArray[np.int64], period: float) -> int | None:
        """First row whose time, within its file, is more than a sample before the row above it."""
        steps = np.diff(self.values["t_s"][rows])
        file = np.searchsorted(self.joined.starts, rows, side="right")
        back = np.flatnonzero((steps < -1.5 * period) & (np.diff(file) == 0))
        return int(rows[back[0] + 1]) if back.size else None

    def _weight_problem(self, swing_no: int, order: Rows) -> Problem | None:
        """Both feet must carry about what a person weighs; a file that has shares only has no weight."""
        if any("shares_only" in file.flags.get(swing_no, {}) for file in self.joined.files):
            return None
        both = float(np.median(self.values["lead_n"][order] + self.values["trail_n"][order]))
        mass = self.header.body_mass_kg
        low, high = LIGHTEST_N, HEAVIEST_N
        if mass is not None:
            weight = mass * STANDARD_GRAVITY_M_S2
            low, high = weight * (1 - WEIGHT_WITHIN), weight * (1 + WEIGHT_WITHIN)
        if low <= both <= high:
            return None
        what = f"both feet carry {both:.4g} N most of the time, which is not the weight of "
        what += "a golfer" if mass is None else f"someone of {mass:g} kg"
        todo = "check the unit of the loads, the zero of the plates and body_mass_kg, and deliver again"
        return "not_body_weight", what, todo, row_of(order, 0), "lead_n"

    def _position_problem(self, order: Rows) -> Problem | None:
        for foot in ("lead", "trail"):
            name, load = f"{foot}_along_pct", self.values[f"{foot}_n"]
            off_foot, heel_over = self._off_foot[name], self._heel_over.get(foot)
            if off_foot is not None and off_foot[order].any():
                off = rows_of(order)[off_foot[order]]
                bad = off[load[off] > CARRYING_SHARE * self._body_weight_n(order)]
                if bad.size:
                    return self._along_words(name, int(bad[0]), float(load[bad[0]]), bad.size)
            if heel_over is not None and heel_over[order].any():
                row, heel = int(rows_of(order)[heel_over[order]][0]), self.values[f"{foot}_heel_n"]
                what = f"the heel carries {heel[row]:.4g} N but the whole foot only {load[row]:.4g} N"
                return "heel_over_foot", what, AGAIN, row, f"{foot}_heel_n"
        return None

    def _along_words(self, name: str, row: int, load: float, count: int) -> Problem:
        source = self.joined.place(row)[0].sources[name]
        value = float(self.values[name][row])
        given = "empty" if np.isnan(value) else source.in_words(value)
        if source.unit and not np.isnan(value):
            given += f" ({value:.4g} % of foot length)"
        what = f"{source.theirs} is {given} while the foot carries {load:.4g} N"
        what += f", but must be -10 to 110 % of foot length{_more(count, 'values')}"
        return ("empty_value" if np.isnan(value) else "out_of_range"), what, AGAIN, row, name

    def _body_weight_n(self, order: Rows) -> float:
        """Body weight as ingest can know it: from the given mass, else the swing's median total load."""
        if self.header.body_mass_kg is not None:
            return self.header.body_mass_kg * STANDARD_GRAVITY_M_S2
        return float(np.median(self.values["lead_n"][order] + self.values["trail_n"][order]))

    def _describe(self, swing_no: int, order: Rows, steps: Array, period: float) -> SwingSamples:
        times = self.values["t_s"][order]
        grid_rate = snapped((len(times) - 1) / float(times[-1] - times[0]))
        drift = np.abs(times - (times[0] + np.arange(len(times)) / grid_rate)).max()
        regular = bool(drift <= REGULAR_WITHIN * period)
        rate = grid_rate if regular else snapped(1.0 / period)
        flags = {
            "dropout": int(np.count_nonzero(steps > DROPOUT_PERIODS * period)),
            "negative_load": self._negative(order),
            "saturated": sum(saturated(self.values[n][order], period) for n in ("lead_n", "trail_n")),
            "low_rate": int(rate < LOW_RATE_HZ),
        }
        return self._swing(swing_no, order, rate, flags, regular=regular)

    def _swing(
        self, swing_no: int, order: Rows, rate: float, flags: dict[str, int], *, regular: bool
    ) -> SwingSamples:
        times, flags = self.values["t_s"][order], {name: count for name, count in flags.items() if count}
        first, last, heels = float(times[0]), float(times[-1]), self._heels(order)
        return SwingSamples(swing_no, order, len(times), rate, first, last, regular, heels, flags)

    def _negative(self, order: Rows) -> int:
        """Loads under zero, of both feet and heels."""
        below = [n for n in _LOADS if n in self.values and self._spans[n].low < 0]
        return sum(int(np.count_nonzero(self.values[name][order] < 0)) for name in below)

    def _heels(self, order: Rows) -> bool:
        return all(
            name in self.values and not (self._spans[name].gaps and np.isnan(self.values[name][order]).all())
            for name in ("lead_heel_n", "trail_heel_n")
        )

    def trace(self, kept: Iterable[int]) -> SessionTrace:
        """The samples of the kept swings, by swing number, ready to be written."""
        swings = [self.good[no] for no in sorted(kept)]
        order = together([s.order for s in swings])
        columns = {name: self._column(name, order) for name in SAMPLE_COLUMNS if name in self.values}
        return SessionTrace(
            session=self.header.session,
            swing_no=np.array([s.swing_no for s in swings], dtype=np.int32),
            offsets=np.concatenate([[0], np.cumsum([s.n_samples for s in swings])]).astype(np.int64),
            rate_hz=np.array([s.rate_hz for s in swings]),
            t0_s=np.array([s.t0_s for s in swings]),
            columns=columns,
            t_s=None if all(s.regular for s in swings) else self.values["t_s"][order],
        )

    def _column(self, name: str, order: Rows) -> NDArray[np.float32]:
        values, off_foot = self.values[name][order], self._off_foot.get(name)
        if name in _LOADS and self._spans[name].low < 0:
            values = np.where(values < 0, 0.0, values)
        elif off_foot is not None:
            # Out of range is only left where the foot carries nothing: no number there means anything.
            values = np.where(off_foot[order], np.nan, values)
        return values.astype(np.float32)
