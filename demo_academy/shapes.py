"""From habits to curves: where each curve is at each event of the swing."""

from dataclasses import dataclass

import numpy as np

from demo_academy.curves import Array, Curve, Sway, SwingCurves, Targets, along_for, heel_share
from demo_academy.habits import HABITS


@dataclass(frozen=True)
class Bodies:
    """What the golfer, club and device bring to a batch of swings, one value for each swing, (S,)."""

    weight_n: Array
    foot_mm: Array
    stance_mm: Array
    stretch: Array
    heels_measured: Array
    along_offset: Array
    heavy_club: Array
    """True for woods, hybrids and drivers."""


def generate_targets(levels: dict[str, Array], bodies: Bodies, rng: np.random.Generator) -> Targets:
    """Each swing's own targets, spread about its session's habits, clear of every limit; (S,) arrays."""
    count = len(bodies.weight_n)
    t: Targets = {
        habit.name: np.clip(levels[habit.name] + rng.normal(0, habit.swing, count), habit.lo, habit.hi)
        for habit in HABITS
        if habit.name != "gain"
    }
    t["gain"] = levels["gain"] + rng.normal(0, 0.6, count)
    t["address_share"] = t["address_share"] - 1.5 * bodies.heavy_club
    t["surge"] = t["surge"] + 8 * bodies.heavy_club
    t["lead_along"] = t["lead_along"] + bodies.along_offset
    t["trail_along"] = t["trail_along"] + bodies.along_offset
    t["peak_trail"] = t["mid_back_trail"] + t["load_on"]
    t["top_trail"] = np.maximum(t["peak_trail"] - t["recentre"], 53.5)
    t["impact"] = np.minimum(t["mid_down"] + t["gain"], 83.0)
    t["lead_lightens"] = np.minimum(t["lead_lightens"], 100 * heel_share(t["lead_along"]) - 1.0)
    t["push"], t["pushes"] = np.zeros((2, count))
    t["dip"] = rng.normal(5, 1.2, count)
    t["late_peak"] = np.zeros(count)
    t["never"] = np.zeros(count)
    t["lead_heelward_back"] = np.full(count, -99.0)
    t["lead_down"] = rng.normal(-10, 1.5, count)
    t["trail_down"] = rng.normal(13, 1.5, count)
    t["trail_impact"] = np.clip(rng.normal(77, 2, count), 72.5, 84)
    t["lead_impact"] = rng.normal(-6, 1.5, count)
    t["rock"] = np.zeros(count)
    size = np.stack(
        [rng.uniform(0.15, 0.35, count), rng.uniform(0.3, 0.7, count), rng.uniform(0.3, 0.7, count)], 1
    )
    t["sway_share"], t["sway_lead"], t["sway_trail"] = size.T
    return t


def event_times(t: Targets, bodies: Bodies, rng: np.random.Generator) -> dict[str, Array]:
    """Event times in s from the swing's first sample, to the millisecond, each (S,)."""
    count = len(bodies.weight_n)
    back = t["backswing"] * bodies.stretch
    down = t["downswing"] * bodies.stretch
    takeaway = rng.uniform(1.72, 1.95, count)
    top = takeaway + back
    impact = top + down
    times = {
        "address": takeaway - rng.uniform(0.75, 0.85, count),
        "takeaway": takeaway,
        "mid_back": takeaway + back * rng.normal(0.60, 0.01, count),
        "top": top,
        "mid_down": impact - down * rng.normal(0.31, 0.008, count),
        "impact": impact,
        "finish": impact + rng.uniform(0.48, 0.60, count) * np.sqrt(bodies.stretch),
    }
    return {name: np.round(values, 3) for name, values in times.items()}


def build_curves(t: Targets, bodies: Bodies, rng: np.random.Generator) -> SwingCurves:
    """The curves of S swings through their targets."""
    events = event_times(t, bodies, rng)
    count = len(bodies.weight_n)
    end = np.round(events["finish"] + rng.uniform(0.25, 0.35, count), 3)
    peak = events["mid_back"] + (events["top"] - events["mid_back"]) * np.where(
        t["top_trail"] < 45, rng.uniform(0.18, 0.25, count), rng.uniform(0.55, 0.66, count)
    )
    size = np.stack([t["sway_share"], t["sway_lead"], t["sway_trail"]], axis=1)
    sway = Sway(size, rng.uniform(0.55, 0.85, (count, 3)), rng.uniform(0, 6.283, (count, 3)), t["rock"])
    extra = bodies.heels_measured[:, None] * rng.normal(0, 0.015, (count, 2))
    total = _total(t, events, end, rng)
    return SwingCurves(
        events=events,
        end_s=end,
        share=_share(t, events, peak, end),
        total=total,
        lead_along=_lead_along(t, events, peak, end),
        trail_along=_trail_along(t, events, end),
        sway=sway,
        heel_extra=extra,
        weight_n=bodies.weight_n,
        foot_mm=bodies.foot_mm,
        stance_mm=bodies.stance_mm,
    )


def _curve(*knots: tuple[Array, Array]) -> Curve:
    """Knots in time order: (time, value) pairs of (S,) arrays."""
    times = np.stack([np.broadcast_to(time, knots[0][1].shape) for time, _ in knots], axis=1)
    values = np.stack([value for _, value in knots], axis=1)
    order = np.argsort(times, axis=1, kind="stable")
    return Curve(np.take_along_axis(times, order, 1), np.take_along_axis(values, order, 1))


def _share(t: Targets, e: dict[str, Array], peak_s: Array, end: Array) -> Curve:
    """Lead share: even, to the trail side, back a little before the top, across, and on to the finish.

    Knots close to the trail peak sharpen it, so that its time is well defined.
    """
    address, back, top = t["address_share"], 100 - t["mid_back_trail"], 100 - t["top_trail"]
    late = t["late_peak"] > 0
    peak = np.where(late, back + 0.62 * (top - back), 100 - t["peak_trail"])
    cross_s, cross = _crossing_knot(t, e, top)
    first = cross_s < e["mid_down"]
    next_s, following = np.where(first, cross_s, e["mid_down"]), np.where(first, cross, t["mid_down"])
    push_s = e["top"] + np.where(t["pushes"] > 0, 0.55, 0.35) * (next_s - e["top"])
    push = np.where(t["pushes"] > 0, top - t["push"], top + 0.22 * (following - top))
    after = t["impact"] + 0.55 * (t["finish"] - t["impact"])
    rise_s = np.minimum(0.05, 0.45 * (peak_s - e["mid_back"]))
    fall_s = np.minimum(0.05, 0.45 * (e["top"] - peak_s))
    return _curve(
        (0.0 * end, address), (e["takeaway"], address), (e["mid_back"], back),
        (peak_s - rise_s, peak + 0.35 * (back - peak)), (peak_s, peak),
        (peak_s + fall_s, peak + 0.2 * (top - peak)), (e["top"], top), (push_s, push), (cross_s, cross),
        (e["mid_down"], t["mid_down"]), (e["impact"], t["impact"]), (e["impact"] + 0.13, after),
        (e["finish"], t["finish"]), (end, t["finish"]),
    )  # fmt: skip


def _crossing_knot(t: Targets, e: dict[str, Array], top: Array) -> tuple[Array, Array]:
    """Time and lead share of the crossing; an ordinary point on the way where there is none after the top."""
    down_s = e["impact"] - e["mid_down"]
    early = np.clip(t["crossing"], down_s + 0.022, 0.72 * (e["impact"] - e["top"]))
    before = np.where(t["crossing"] < 0.08, t["crossing"], early)
    over = (top > 50) | (t["never"] > 0)
    cross_s = np.where(over, e["impact"] - down_s / 2, e["impact"] - before)
    return cross_s, np.where(over, 0.45 * t["mid_down"] + 0.55 * t["impact"], 50.0)


def _total(t: Targets, e: dict[str, Array], end: Array, rng: np.random.Generator) -> Curve:
    """Total load in % of body weight: quiet, a dip in transition, a surge before impact, a drop after."""
    full = np.full_like(end, 100.0)
    surge = np.maximum(100 + (t["surge"] - 100), 108.0)
    surge_s = e["impact"] - np.minimum(
        rng.normal(0.055, 0.008, len(end)), 0.8 * (e["impact"] - e["mid_down"])
    )
    return _curve(
        (0.0 * end, full), (e["takeaway"], full), (e["mid_back"], full + rng.normal(2.5, 1, len(end))),
        (e["top"], full - t["dip"]), (surge_s - 0.03, 100 + 0.85 * (surge - 100)),
        (surge_s, surge),
        (e["impact"], 100 + 0.55 * (surge - 100)), (e["impact"] + 0.14, full - rng.normal(16, 3, len(end))),
        (e["finish"], full), (end, full),
    )  # fmt: skip


def _lead_along(t: Targets, e: dict[str, Array], peak_s: Array, end: Array) -> Curve:
    """Lead foot: off the heel going back, onto it coming down, by what its heel gives up of its load."""
    address, heel = t["lead_along"], 100 * heel_share(t["lead_along"])

    def at(part: float) -> Array:
        bare = along_for((heel - part * t["lead_lightens"]) / 100)
        held = address + part * t["lead_heelward_back"]
        return np.where(t["lead_heelward_back"] > -90, np.minimum(bare, held), bare)

    back, top = at(0.75), at(0.85)
    top = np.where(t["lead_heelward_back"] > -90, at(1.0), top)
    peak = np.where(t["late_peak"] > 0, (back + top) / 2, at(1.0))
    down = np.where(t["lead_down"] > 0, top + t["lead_down"], np.minimum(address - 2, top + 2))
    impact = np.maximum(down + t["lead_impact"], 12.0)
    finish = np.maximum(impact - 5, 10.0)
    return _curve(
        (0.0 * end, address), (e["takeaway"], address), (e["mid_back"], back), (peak_s, peak),
        (e["top"], top),
        (e["mid_down"], down), (e["impact"], impact), (e["finish"], finish), (end, finish),
    )  # fmt: skip


def _trail_along(t: Targets, e: dict[str, Array], end: Array) -> Curve:
    """Trail foot: a little toward the heel going back, then up onto the toes through impact."""
    address, top = t["trail_along"], t["trail_along"] - t["trail_sink"]
    down = np.minimum(top + t["trail_down"], t["trail_impact"] - 1)
    finish = np.maximum(t["trail_impact"] + 6, 86.0)
    return _curve(
        (0.0 * end, address), (e["takeaway"], address), (e["mid_back"], address - 0.8 * t["trail_sink"]),
        (e["top"], top), (e["mid_down"], down), (e["impact"], t["trail_impact"]),
        (e["finish"], finish), (end, finish),
    )  # fmt: skip
