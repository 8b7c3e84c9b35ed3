"""True metrics of each foot by itself: places, heel shares of its own load, and the two feet together.

Written from the definitions alone, like truth.py.
"""

import numpy as np

from demo_academy.curves import Array
from demo_academy.grid import FEET, INF, STEP_S, Grid, least, most, moving_mean

NOTHING_TO_GIVE_UP, MOVES = 8.0, 8.0  # points of a foot's load


def foot_metrics(g: Grid) -> dict[str, Array]:
    """Every metric of one foot by itself or of both feet side by side, for S swings."""
    return _places(g) | _lightening(g) | _together(g) | _order(g) | _loads(g)


def _heel_share(g: Grid, foot: str) -> Array:
    return 100 * g.signals[f"{foot}_heel_share"]


def _places(g: Grid) -> dict[str, Array]:
    """Where each foot's pressure is at each event."""
    out = {
        f"{event}_{foot}_along_pct": g.at(g.signals[f"{foot}_along"], event)
        for event in ("mid_back", "top", "mid_down", "impact", "finish")
        for foot in FEET
    }
    out["top_trail_heel_share_pct"] = g.at(_heel_share(g, "trail"), "top")
    out["mid_down_lead_heel_share_pct"] = g.at(_heel_share(g, "lead"), "mid_down")
    out["back_trail_least_along_pct"] = least(g.signals["trail_along"], g.within("mid_back", "top"))
    return out


def _lightening(g: Grid) -> dict[str, Array]:
    """What each heel gives up of its own foot's load."""
    out = {}
    for foot, start, half_s, window in (
        ("lead", "address", 0.150, ("mid_back", "top")),
        ("trail", "top", 0.010, ("mid_down", "impact")),
    ):
        share, within = _heel_share(g, foot), g.within(*window)
        before = g.at(share, start, half_s)
        given_up = before - least(_means_within(share, within, 0.040), within)
        out[f"{foot}_heel_lightens_pts"] = np.where(before >= NOTHING_TO_GIVE_UP, given_up, np.nan)
    return out


def _together(g: Grid) -> dict[str, Array]:
    """Both feet the same way, and how far the heels do opposite things."""
    alongs = [g.signals[f"{foot}_along"] for foot in FEET]
    late = g.within("mid_back", "top")
    back = [most(along, late) - g.at(along, "address", 0.150) for along in alongs]
    down = [g.at(along, "top") - g.at(along, "mid_down") for along in alongs]
    return {
        "back_both_toeward_pct": np.minimum(*back),
        "down_both_heelward_pct": np.minimum(*down),
        "back_heel_opposition": _opposition(g, g.within("takeaway", "top")),
        "down_heel_opposition": _opposition(g, g.within("top", "impact")),
    }


def _opposition(g: Grid, phase: Array) -> Array:
    """−Σ of the products of both heels' moves over 60 ms, over the root of their squares' sums."""
    steps = round(0.060 / STEP_S)
    means = [np.where(phase, _means_within(_heel_share(g, foot), phase, 0.060), np.nan) for foot in FEET]
    lead, trail = (mean[:, steps:] - mean[:, :-steps] for mean in means)
    norm = np.sqrt(np.nansum(lead**2, axis=1) * np.nansum(trail**2, axis=1))
    moved = np.minimum(*[most(mean, phase) - least(mean, phase) for mean in means]) >= MOVES
    return np.where(moved, -np.nansum(lead * trail, axis=1) / np.maximum(norm, 1e-12), 0.0)


def _order(g: Grid) -> dict[str, Array]:
    """Time the lead heel is down again less time the trail heel rises, in ms."""
    lead, trail = (moving_mean(_heel_share(g, foot), 0.020) for foot in FEET)
    back, down = g.within("mid_back", "top"), g.within("top", "impact")
    standing, at_top = g.at(_heel_share(g, "lead"), "address", 0.150), g.at(_heel_share(g, "trail"), "top")
    lightest_s = g.time[np.argmin(np.where(back, lead, INF), axis=1)]
    landed = (lead >= (standing - MOVES)[:, None]) & g.within(lightest_s, "impact")
    risen = (trail <= np.minimum(0.5 * at_top, at_top - MOVES)[:, None]) & down
    down_s = np.where(landed.any(axis=1), g.time[landed.argmax(axis=1)], g.events["impact"])
    known = risen.any(axis=1) & (standing - least(lead, back) >= MOVES)
    return {"heel_order_ms": np.where(known, 1000 * (down_s - g.time[risen.argmax(axis=1)]), np.nan)}


def _loads(g: Grid) -> dict[str, Array]:
    """The start, the way back from the trail side, a push, and the lead foot after the strike."""
    share, total = g.signals["share"], g.signals["total"]
    trail = 100 - share
    start = g.within(g.events["takeaway"] - 0.1, g.events["takeaway"] + 0.25)
    back, down = g.within("takeaway", "mid_down"), g.within("top", "mid_down")
    peak = most(trail, back)
    after = g.time >= g.time[np.argmax(np.where(back, trail, -INF), axis=1)][:, None]
    returned = back & after & (trail <= peak[:, None] - 5)
    back_s = np.where(returned.any(axis=1), g.time[returned.argmax(axis=1)], g.events["mid_down"])
    pressed = np.argmax(np.where(down, trail * total, -INF), axis=1)
    smooth = _means_within(trail, g.within("takeaway", "top"), 0.040)
    far = most(smooth, g.within("takeaway", "top"))
    row = np.arange(len(total))
    rise = most(trail * total / 100, down) - g.at(trail * total / 100, "top")
    total_rise = total[row, pressed] - g.at(total, "top")
    gained = trail[row, pressed] - g.at(trail, "top")
    pushed = (total_rise >= 3) & (gained >= -4) & (gained + g.at(trail, "top") >= 50)
    return {
        "trail_push_share_pts": gained,
        "trail_push_off_pct_bw": np.where(pushed, np.maximum(rise, 0), 0.0),
        "starting_move_pts": most(_means_within(share, start, 0.040), start) - g.at(share, "address", 0.150),
        "return_after_top_s": np.where(far >= 58, back_s - g.events["top"], np.nan),
        "trail_push_total_pct_bw": total_rise,
        "lead_least_after_impact_pct_bw": least(share * total / 100, g.within("impact", "finish")),
    }


def _means_within(values: Array, window: Array, width_s: float) -> Array:
    """Centred means over width_s of the values inside a window alone, (S, N)."""
    inside = moving_mean(window.astype(float), width_s)
    return moving_mean(np.where(window, values, 0.0), width_s) / np.maximum(inside, 1e-9)
