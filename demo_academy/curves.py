"""The curves of a swing: monotone, through the values wanted at its events.

A `SwingCurves` holds S swings at once. Each curve is a piecewise cubic through knots (time, value), level
where the values turn, so that a wanted peak or dip is exactly at its knot and nothing overshoots. Before
takeaway a small slow sway is added to the curves; it fades out as the swing begins.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

Array = np.ndarray
Targets = dict[str, Array]  # what a swing's curves go through, by name, each (S,)

HEEL_AT_PCT = 15.0
BALL_AT_PCT = 70.0


@dataclass(frozen=True)
class Curve:
    """Knots of one signal: times in s and values, both (S, K), times rising along each row."""

    times: Array
    values: Array

    def slopes(self) -> Array:
        """Slopes at the knots, (S, K): harmonic means, 0 where the curve turns (Fritsch & Carlson)."""
        width = np.maximum(np.diff(self.times, axis=1), 1e-6)
        rise = np.diff(self.values, axis=1) / width
        before, after = rise[:, :-1], rise[:, 1:]
        w1 = 2 * width[:, 1:] + width[:, :-1]
        w2 = width[:, 1:] + 2 * width[:, :-1]
        same = before * after > 0
        safe_before, safe_after = np.where(same, before, 1.0), np.where(same, after, 1.0)
        slopes = np.zeros_like(self.values)
        slopes[:, 1:-1] = np.where(same, (w1 + w2) / (w1 / safe_before + w2 / safe_after), 0.0)
        return slopes

    def at_grid(self, step_s: float, count: int) -> Array:
        """Values at k · step_s for k = 0 … count − 1, (S, count); level beyond the outer knots."""
        width = np.maximum(np.diff(self.times, axis=1), 1e-6)
        slopes = self.slopes()
        rise = np.diff(self.values, axis=1) / width
        left, right = slopes[:, :-1], slopes[:, 1:]
        square = (3 * rise - 2 * left - right) / width
        cube = (left + right - 2 * rise) / width**2
        edges = np.clip(np.ceil(self.times / step_s - 1e-9), 0, count).astype(np.int64)
        edges[:, 0], edges[:, -1] = 0, count
        counts = np.maximum(np.diff(np.maximum.accumulate(edges, axis=1), axis=1), 0).ravel()
        swings = len(self.times)
        at = np.repeat(np.arange(counts.size), counts)
        time = np.tile(np.arange(count) * step_s, swings)
        inside = np.clip(time - self.times[:, :-1].ravel()[at], 0.0, width.ravel()[at])
        terms = (self.values[:, :-1], left, square, cube)
        start, first, second, third = (term.ravel()[at] for term in terms)
        return (start + inside * (first + inside * (second + inside * third))).reshape(swings, count)


@dataclass(frozen=True)
class Sway:
    """Quiet standing before takeaway: amplitudes (S, 3) for share, lead along and trail along, in points.

    `rock` is the size, in % of foot length, of one heel-toe rock of both feet just before takeaway.
    """

    size: Array
    hertz: Array
    phase: Array
    rock: Array


@dataclass(frozen=True)
class SwingCurves:
    """S swings: event times (s from the first sample), the four curves, and the golfer's body.

    `share` is the lead foot's part of the total load in %, `total` the total load in % of body weight,
    `lead_along` and `trail_along` the centre of pressure in % of foot length from the back of the heel.
    `heel_extra` (S, 2) is added to the statics' heel share of lead and trail foot where heels are measured.
    """

    events: dict[str, Array]
    end_s: Array
    share: Curve
    total: Curve
    lead_along: Curve
    trail_along: Curve
    sway: Sway
    heel_extra: Array
    weight_n: Array
    foot_mm: Array
    stance_mm: Array

    def signals(self, step_s: float, count: int) -> dict[str, Array]:
        """Noise-free signals on an even grid, each (S, count).

        Keys: share, total, lead_along, trail_along, lead_heel_share, trail_heel_share (0…1),
        cop_x_mm, cop_y_mm. Heel shares follow two-point statics: the foot rests on the heel at 15 % and on
        the ball at 70 % of its length.
        """
        time = np.arange(count) * step_s
        sway = self._sway(time)
        out = {
            "share": self.share.at_grid(step_s, count) + sway[0],
            "total": self.total.at_grid(step_s, count),
            "lead_along": self.lead_along.at_grid(step_s, count) + sway[1],
            "trail_along": self.trail_along.at_grid(step_s, count) + sway[2],
        }
        for column, foot in enumerate(("lead", "trail")):
            bare = (BALL_AT_PCT - out[f"{foot}_along"]) / (BALL_AT_PCT - HEEL_AT_PCT)
            loaded = bare + self.heel_extra[:, column, None] * np.clip(bare / 0.1, 0.0, 1.0)
            out[f"{foot}_heel_share"] = np.clip(loaded, 0.0, 1.0)
        lead = out["share"] / 100
        half = self.stance_mm[:, None] / 2
        out["cop_x_mm"] = half * (2 * lead - 1)
        along = lead * out["lead_along"] + (1 - lead) * out["trail_along"]
        out["cop_y_mm"] = along / 100 * self.foot_mm[:, None]
        return out

    def _sway(self, time: Array) -> tuple[Array, Array, Array]:
        """Sway and rock of share, lead along and trail along, each (S, T); damaged 0.15 s after takeaway."""
        take = self.events["takeaway"][:, None]
        early = time[time <= take.max() + 0.15]
        fade = np.clip((take + 0.15 - early) / 0.15, 0.0, 1.0)
        fade = fade * fade * (3 - 2 * fade)
        phase = np.clip((early - (take - 0.5)) / 0.48, 0.0, 1.0)
        rock = self.sway.rock[:, None] * np.sin(np.pi * phase) ** 2
        turn = 2 * np.pi * self.sway.hertz[:, :, None] * early + self.sway.phase[:, :, None]
        wave = self.sway.size[:, :, None] * np.sin(turn) * fade[:, None, :]
        wave[:, 1:] += rock[:, None, :]
        out = np.zeros((3, len(take), len(time)))
        out[:, :, : len(early)] = wave.transpose(1, 0, 2)
        return out[0], out[1], out[2]


def take_rows(value: Any, at: Array) -> Any:
    """The rows `at` of an array, or of every array of a dict or record, however deep."""
    if isinstance(value, np.ndarray):
        return value[at]
    if isinstance(value, dict):
        return {name: take_rows(part, at) for name, part in value.items()}
    return type(value)(**{f.name: take_rows(getattr(value, f.name), at) for f in fields(value)})


def replace_rows(value: Any, new: Any, at: Array) -> Any:
    """A copy of an array, dict or record in which the rows `at` are those of `new`."""
    if isinstance(value, np.ndarray):
        out = value.copy()
        out[at] = new
        return out
    if isinstance(value, dict):
        return {name: replace_rows(part, new[name], at) for name, part in value.items()}
    parts = {f.name: replace_rows(getattr(value, f.name), getattr(new, f.name), at) for f in fields(value)}
    return type(value)(**parts)


def heel_share(along_pct: Array) -> Array:
    """Heel share 0…1 of a foot whose centre of pressure is at `along_pct`, by two-point statics."""
    return np.clip((BALL_AT_PCT - along_pct) / (BALL_AT_PCT - HEEL_AT_PCT), 0.0, 1.0)


def along_for(share: Array) -> Array:
    """The centre of pressure, in % of foot length, at which the heel carries `share` of the foot's load."""
    return BALL_AT_PCT - (BALL_AT_PCT - HEEL_AT_PCT) * np.clip(share, 0.0, 1.0)
