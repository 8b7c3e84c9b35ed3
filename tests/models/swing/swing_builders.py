"""Invented swings for the tests: signals drawn through posts at the events, on any clock."""

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy.interpolate import PchipInterpolator

from warehouse.traces import SessionTrace

TIMES = {
    "address": 0.60,
    "takeaway": 1.40,
    "mid_back": 1.95,
    "top": 2.25,
    "mid_down": 2.42,
    "impact": 2.50,
    "finish": 3.10,
}
WEIGHT_N = 700.0
LENGTH_S = 3.4


@dataclass
class Curve:
    """One signal by its posts: (time in s, value); held before the first and after the last."""

    posts: list[tuple[float, float]]

    def at(self, t):
        times, values = np.array(self.posts).T
        if len(self.posts) == 1:
            return np.full(t.shape, values[0])
        return PchipInterpolator(times, values)(np.clip(t, times[0], times[-1]))


def posts(start, **at):
    """Posts at events by name ("top_40" = 40 ms after top, "top__40" = 40 ms before)."""
    found = [(0.0, start), (TIMES["takeaway"], start)]
    for name, value in at.items():
        early = "__" in name
        event, _, shift = name.partition("__" if early else "@") if early else name.partition("_ms")
        shift_s = int(shift or 0) / 1000
        found.append((TIMES[event] + (-shift_s if early else shift_s), value))
    return Curve(sorted(found))


@dataclass
class Plan:
    """What one swing does. Shares, along and heel shares in %; total in % of body weight."""

    share: Curve
    lead_along: Curve
    trail_along: Curve
    lead_heel: Curve | None = None  # % of the foot's load
    trail_heel: Curve | None = None
    total: Curve = field(default_factory=lambda: Curve([(0.0, 100.0)]))

    def columns(self, rate, noise=0.0, seed=0, weight=WEIGHT_N):
        t = np.arange(int(LENGTH_S * rate) + 1) / rate
        total = weight * self.total.at(t) / 100
        share = self.share.at(t) / 100
        made = {
            "lead_n": total * share,
            "trail_n": total * (1 - share),
            "lead_along_pct": self.lead_along.at(t),
            "trail_along_pct": self.trail_along.at(t),
        }
        if self.lead_heel is not None:
            made["lead_heel_n"] = made["lead_n"] * self.lead_heel.at(t) / 100
            made["trail_heel_n"] = made["trail_n"] * self.trail_heel.at(t) / 100
        if noise:
            rng = np.random.default_rng(seed)
            scale = {"_n": weight * noise, "_pct": 100 * noise}
            for name, values in made.items():
                made[name] = values + rng.normal(
                    0, scale["_n" if name.endswith("_n") else "_pct"], values.size
                )
        return {k: v.astype(np.float32) for k, v in made.items()}


def trace_of(swings, rates, session="s1", t0_s=0.0):
    """A trace of several swings, each a dict of columns."""
    names = list(dict.fromkeys(name for columns in swings for name in columns))
    counts = [columns["lead_n"].size for columns in swings]
    joined = {
        name: np.concatenate(
            [np.asarray(c.get(name, np.full(c["lead_n"].size, np.nan)), np.float32) for c in swings]
        )
        for name in names
    }
    return SessionTrace(
        session,
        np.arange(1, len(swings) + 1, dtype=np.int32),
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        np.asarray(rates, dtype=float),
        np.full(len(swings), float(t0_s)),
        joined,
    )


def swing_rows(count, session="s1", **columns):
    filled = {
        "session": [session] * count,
        "swing_no": pl.Series(range(1, count + 1), dtype=pl.Int32),
        "club_family": ["iron"] * count,
        "pace": ["full"] * count,
        "file_flags": pl.Series([[]] * count, dtype=pl.List(pl.String)),
        "file_flag_counts": pl.Series([[]] * count, dtype=pl.List(pl.Int32)),
    }
    return pl.DataFrame(filled | columns)


def event_rows(marked, session="s1", t0_s=0.0, error_s=0.0):
    """`marked`: one dict of event times (s after the first sample) a swing."""
    rows = [
        (session, number, event, t0_s + t, "marked" if error_s == 0 else "estimated", error_s, "plate")
        for number, events in enumerate(marked, start=1)
        for event, t in events.items()
    ]
    return pl.DataFrame(
        rows,
        schema={"session": pl.String, "swing_no": pl.Int32, "event": pl.String, "t_s": pl.Float64,
                "source": pl.String, "expected_error_s": pl.Float64, "clock": pl.String},
        orient="row",
    )  # fmt: skip


@dataclass
class Lines(Curve):
    """The same by straight lines, for values worked out by hand."""

    def at(self, t):
        times, values = np.array(self.posts).T
        return np.interp(t, times, values)


def level(value):
    return Lines([(0.0, value)])


def quiet_plan(**changes):
    """Everything level: lead share 50, along 50, heel shares 40, total 100 % of body weight."""
    plan = {
        "share": level(50), "lead_along": level(50), "trail_along": level(50), "lead_heel": level(40),
        "trail_heel": level(40), "total": level(100),
    }  # fmt: skip
    return Plan(**(plan | changes))
