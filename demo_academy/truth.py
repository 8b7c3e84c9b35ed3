"""True metrics of planted swings, from the noise-free curves on a fine grid.

Written from the definitions alone and sharing no code with the models, so that each can check
the other. Shares and positions in %, loads in % of body weight, times in s. A metric that a definition
leaves undefined is NaN.
"""

import numpy as np

from demo_academy.curves import Array, SwingCurves
from demo_academy.foot_truth import foot_metrics
from demo_academy.grid import FEET, INF, STEP_S, Grid, least, most, moving_mean


def true_metrics(curves: SwingCurves) -> dict[str, Array]:
    """Every plate metric of the metric table for S swings, and `crossing` as text."""
    count = int(np.ceil(curves.end_s.max() / STEP_S)) + 1
    grid = Grid(np.arange(count) * STEP_S, curves.signals(STEP_S, count), curves.events)
    out: dict[str, Array] = {}
    out |= _address(grid)
    out |= _backswing(grid)
    out |= _downswing(grid)
    out |= _impact(grid)
    out |= _opposition(grid)
    out |= foot_metrics(grid)
    e = curves.events
    out["backswing_s"], out["downswing_s"] = e["top"] - e["takeaway"], e["impact"] - e["top"]
    return out


def heel_load(grid: Grid, foot: str) -> Array:
    """Heel load of a foot in % of body weight, (S, N)."""
    share = grid.signals["share"] if foot == "lead" else 100 - grid.signals["share"]
    return share / 100 * grid.signals["total"] * grid.signals[f"{foot}_heel_share"]


def _address(g: Grid) -> dict[str, Array]:
    """Values at address, and how still the student stands before takeaway."""
    s = g.signals
    last_half = g.within(g.events["takeaway"] - 0.5, "takeaway")
    rocks = [most(s[f"{foot}_along"], last_half) - least(s[f"{foot}_along"], last_half) for foot in FEET]
    out = {"address_lead_share_pct": g.at(s["share"], "address", 0.15)}
    for foot in FEET:
        out[f"address_{foot}_along_pct"] = g.at(s[f"{foot}_along"], "address", 0.15)
        out[f"address_{foot}_heel_share_pct"] = 100 * g.at(s[f"{foot}_heel_share"], "address", 0.15)
    out["address_sway_speed_mm_s"] = _sway_speed(g)
    out["start_rock_pct"] = np.maximum(*rocks)
    return out


def _backswing(g: Grid) -> dict[str, Array]:
    """Takeaway to top."""
    s = g.signals
    trail, back = 100 - s["share"], g.within("takeaway", "top")
    smooth = moving_mean(trail, 0.040)
    peak = most(smooth, back)
    peak_s = g.time[np.argmax(np.where(back, smooth, -INF), axis=1)]
    before_top = g.events["top"] - peak_s
    at_top = g.at(trail, "top")
    recentre = np.where(before_top >= 0.020, peak - at_top, 0.0)
    late = g.within("mid_back", "top")
    moves = [g.at(s[f"{foot}_along"], "address", 0.15) - least(s[f"{foot}_along"], late) for foot in FEET]
    lead_heel = heel_load(g, "lead")
    return {
        "mid_back_trail_share_pct": g.at(trail, "mid_back"),
        "trail_peak_share_pct": peak,
        "recentre_pts": np.where(peak < 58, np.nan, recentre),
        "trail_peak_before_top_s": before_top,
        "top_lead_share_pct": 100 - at_top,
        "lead_heel_unload_pct_bw": g.at(lead_heel, "address", 0.15) - least(lead_heel, back),
        "trail_heel_sink_pct": g.at(s["trail_along"], "address", 0.15) - least(s["trail_along"], back),
        "back_both_heelward_pct": np.minimum(*moves),
    }


def _downswing(g: Grid) -> dict[str, Array]:
    """Top to mid-down, the crossing, and the rate of transfer."""
    s = g.signals
    trail, down = 100 - s["share"], g.within("top", "mid_down")
    trail_load = trail / 100 * s["total"]
    trail_heel = heel_load(g, "trail")
    moves = [g.at(s[f"{foot}_along"], "mid_down") - g.at(s[f"{foot}_along"], "top") for foot in FEET]
    before, kind = _crossing(g)
    return {
        "trail_push_pts": most(trail, down) - g.at(trail, "top"),
        "trail_push_pct_bw": most(trail_load, down) - g.at(trail_load, "top"),
        "crossing_before_impact_s": before,
        "crossing": kind,
        "transfer_rate_pct_s": _transfer_rate(g),
        "mid_down_lead_share_pct": g.at(s["share"], "mid_down"),
        "trail_heel_unload_pct_bw": g.at(trail_heel, "top") - g.at(trail_heel, "mid_down"),
        "down_both_toeward_pct": np.minimum(*moves),
    }


def _impact(g: Grid) -> dict[str, Array]:
    """Impact and after."""
    s = g.signals
    after_top = g.time >= g.events["top"][:, None]
    at_impact = g.at(s["share"], "impact")
    peak_at = np.argmax(np.where(after_top, s["total"], -INF), axis=1)
    return {
        "impact_lead_share_pct": at_impact,
        "impact_gain_pts": at_impact - g.at(s["share"], "mid_down"),
        "impact_trail_heel_pct_bw": g.at(heel_load(g, "trail"), "impact"),
        "lead_heelward_pct": g.at(s["lead_along"], "mid_down") - g.at(s["lead_along"], "impact"),
        "finish_lead_share_pct": g.at(s["share"], "finish"),
        "peak_vertical_pct_bw": most(s["total"], after_top),
        "peak_vertical_before_impact_s": g.events["impact"] - g.time[peak_at],
    }


def _crossing(g: Grid) -> tuple[Array, Array]:
    """Seconds before impact at which lead share passes 50 % for good, and crossed | before_top | never.

    For good: the last rise through 50 that goes on to 53 with no later fall under 47 before impact.
    """
    share, down = g.signals["share"], g.within("top", "impact")
    index = np.arange(share.shape[1])
    low = np.where(down & (share < 47), index, -1).max(axis=1)
    reached = down & (share >= 53) & (index > low[:, None])
    first = np.where(reached, index, share.shape[1]).min(axis=1)
    under = np.where(down & (share < 50) & (index < first[:, None]), index, -1).max(axis=1)
    row, at = np.arange(len(share)), np.clip(under, 0, share.shape[1] - 2)
    part = (50 - share[row, at]) / np.maximum(share[row, at + 1] - share[row, at], 1e-9)
    before = g.events["impact"] - (g.time[at] + part * STEP_S)
    already = g.at(share, "top") > 50
    kind = np.where(already, "before_top", np.where(reached.any(axis=1), "crossed", "never"))
    return np.where(kind == "crossed", before, np.nan), kind


def _transfer_rate(g: Grid) -> Array:
    """Steepest 60 ms least-squares slope of lead share from the trail peak to impact, in % a second."""
    half = round(0.030 / STEP_S)
    share, index = g.signals["share"], np.arange(g.time.size)
    sums = np.cumsum(np.pad(share, ((0, 0), (1, 0))), axis=1)
    firsts = np.cumsum(np.pad(share * index, ((0, 0), (1, 0))), axis=1)
    width, middle = 2 * half + 1, index[half:-half]
    lagged = (firsts[:, width:] - firsts[:, :-width]) - middle * (sums[:, width:] - sums[:, :-width])
    slope = np.full_like(share, -INF)
    slope[:, half:-half] = lagged / (np.sum(np.arange(-half, half + 1) ** 2) * STEP_S)
    trail = moving_mean(100 - share, 0.040)
    peak_s = g.time[np.argmax(np.where(g.within("takeaway", "top"), trail, -INF), axis=1)]
    return most(slope, g.within(peak_s + 0.030, g.events["impact"] - 0.030))


def _opposition(g: Grid) -> dict[str, Array]:
    """−∫u·v / √(∫u²·∫v²) going back and coming down, u and v the slopes of the heel loads in % of total."""
    heels = {foot: _low_pass(heel_load(g, foot), 15.0) / g.signals["total"] * 100 for foot in FEET}
    rates = {foot: np.gradient(heel, STEP_S, axis=1) for foot, heel in heels.items()}
    out = {}
    for name, last in (("back", ("takeaway", "top")), ("down", ("top", "impact"))):
        phase = g.within(*last)
        moved = np.minimum(*[most(heels[f], phase) - least(heels[f], phase) for f in FEET]) >= 8
        lead, trail = (np.where(phase, rates[foot], 0.0) for foot in FEET)
        both = np.sqrt((lead**2).sum(axis=1) * (trail**2).sum(axis=1))
        same = -(lead * trail).sum(axis=1) / np.maximum(both, 1e-12)
        out[f"{name}_opposition"] = np.where(moved, same, np.nan)
    return out


def _sway_speed(g: Grid) -> Array:
    """Path over time of the whole-body centre of pressure in the quietest 1.0 s before takeaway, mm/s."""
    every = 5
    step, last = STEP_S * every, int(np.ceil(g.events["takeaway"].max() / STEP_S)) + 100
    path: Array | float = 0.0
    for axis in ("cop_x_mm", "cop_y_mm"):
        smooth = _low_pass(g.signals[axis][:, :last:every], 5.0, step)
        path = path + np.diff(smooth, axis=1, prepend=smooth[:, :1]) ** 2
    run = np.cumsum(np.sqrt(path), axis=1)
    length = round(1.0 / step)
    speed = np.full_like(run, INF)
    speed[:, length:] = run[:, length:] - run[:, :-length]
    return least(speed, g.time[:last:every] <= g.events["takeaway"][:, None])


def _low_pass(values: Array, cut_hz: float, step_s: float = STEP_S) -> Array:
    """Zero-phase low-pass of rows by Fourier transform: the gain of a two-way Butterworth of order 2.

    The rows are mirrored end to end, so that the ends stay in place.
    """
    count = values.shape[1]
    padding = -count % 64
    padded = np.concatenate([values, np.repeat(values[:, -1:], padding, axis=1)], axis=1)
    mirrored = np.concatenate([padded, padded[:, ::-1]], axis=1)
    corrected = cut_hz / (np.sqrt(2) - 1) ** 0.25
    hertz = np.fft.rfftfreq(mirrored.shape[1], step_s)
    gain = 1 / (1 + (hertz / corrected) ** 4)
    return np.fft.irfft(np.fft.rfft(mirrored, axis=1) * gain, mirrored.shape[1], axis=1)[:, :count]
