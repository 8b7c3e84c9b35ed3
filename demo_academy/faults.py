"""How each fault bends a swing's targets well past its limit, and which limits the true metrics are past.

Limits are those of the fault table; they are repeated here on purpose, because the generator is the oracle
that the rules are compared with. Each limit has the margin that sensor noise needs: a swing whose metric lies
within it is generated again, so planted faults are never in doubt.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from demo_academy.curves import Array, Targets, heel_share

Bend = Callable[[Targets, Array, np.random.Generator], None]

EXCLUDES: dict[str, tuple[str, ...]] = {
    "heels_at_address": ("toes_at_address", "lead_heel_heavy", "heels_together_back"),
    "toes_at_address": ("lead_heel_heavy", "heels_together_back"),
    "stays_centred": ("reverse_load", "no_recentre", "lead_heel_heavy", "heels_together_back"),
    "reverse_load": ("no_recentre", "lead_heel_heavy", "heels_together_back", "trail_push", "late_crossing",
                     "little_lead_load"),
    "trail_heel_sink": ("lead_heel_heavy",),
    "no_recentre": ("trail_push",),
    "late_crossing": ("little_lead_load", "target_drift", "trail_push"),
    "little_lead_load": ("target_drift",),
    "toes_together_down": ("trail_heel_down",),
    "target_drift": ("trail_heel_down",),
}  # fmt: skip
"""A fault planted in a swing excludes the named ones: together they would mask each other."""

TO_THE_TOP = (
    "heels_at_address", "toes_at_address", "uneven_at_address", "unsteady_at_address", "rocking_start",
    "stays_centred", "trail_heel_sink", "lead_heel_heavy", "heels_together_back", "no_recentre",
    "reverse_load",
)  # fmt: skip
FROM_THE_TOP = (
    "trail_push", "late_crossing", "little_lead_load", "toes_together_down", "target_drift",
    "trail_heel_down",
)  # fmt: skip
PLATE_FAULTS = TO_THE_TOP + FROM_THE_TOP


def bend(targets: Targets, wanted: dict[str, Array], rng: np.random.Generator) -> None:
    """Bend the targets in place, fault by fault, where `wanted` (S,) says so."""
    for fault, hit in wanted.items():
        if hit.any() and fault in RANGES:
            _set(targets, hit, rng, **RANGES[fault])
        elif hit.any():
            BENDS[fault](targets, hit, rng)


def keep_compatible(wanted: dict[str, Array]) -> dict[str, Array]:
    """Of each swing's faults keep those that can occur together; the first in swing order wins."""
    kept = {fault: hit.copy() for fault, hit in wanted.items()}
    for fault in PLATE_FAULTS:
        for other in EXCLUDES.get(fault, ()):
            kept[other] &= ~kept[fault]
    return kept


def _set(targets: Targets, hit: Array, rng: np.random.Generator, **ranges: tuple[float, float]) -> None:
    """Set targets of the hit swings to even draws from the given ranges."""
    for name, (lo, hi) in ranges.items():
        targets[name][hit] = rng.uniform(lo, hi, int(hit.sum()))


def _heels_at_address(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_along=(26, 31), trail_along=(26, 31))
    heel = t["address_share"] * heel_share(t["lead_along"])
    t["lead_unload"][hit] = np.maximum(t["lead_unload"], 0.62 * heel)[hit]


def _toes_at_address(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_along=(59.0, 60.2), trail_along=(78, 81))
    heel = t["address_share"] * heel_share(t["lead_along"])
    t["lead_unload"][hit] = (heel - 0.2)[hit]
    t["trail_down"][hit] = 8.0
    t["trail_impact"][hit] = np.maximum(t["trail_along"], t["trail_impact"])[hit] + 3


def _uneven_at_address(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    to_lead = rng.random(len(hit)) < 0.5
    _set(t, hit & to_lead, rng, address_share=(61, 64))
    _set(t, hit & ~to_lead, rng, address_share=(36, 39))
    heel = t["address_share"] * heel_share(t["lead_along"])
    t["lead_unload"][hit] = np.minimum(t["lead_unload"], heel - 0.3)[hit]


def _stays_centred(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_back_trail=(50, 55))
    rise = rng.uniform(9.5, 12, int(hit.sum()))
    t["peak_trail"][hit] = np.maximum(t["mid_back_trail"][hit] + rise, 61.0)
    t["top_trail"][hit] = np.maximum(t["peak_trail"] - t["recentre"], 53.5)[hit]


def _reverse_load(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    centred = hit & (rng.random(len(hit)) < 0.5)
    _set(t, hit, rng, top_trail=(29, 35))
    _set(t, centred, rng, mid_back_trail=(52.3, 54.1))
    t["peak_trail"][hit] = (t["mid_back_trail"] + np.where(centred, 2.0, 2.5))[hit]
    t["mid_down"][hit] = np.maximum(t["mid_down"], 103 - t["top_trail"])[hit]
    t["impact"][hit] = np.maximum(t["impact"], np.minimum(t["mid_down"] + 2, 83))[hit]


def _lead_heel_heavy(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_unload=(-1.5, 1.2))
    t["trail_sink"][hit] = np.minimum(t["trail_sink"], 6.0)[hit]


def _heels_together_back(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    sinks = hit & (t["trail_sink"] > 15)
    _set(t, hit & ~sinks, rng, trail_sink=(12.3, 12.8))
    _set(t, hit, rng, lead_unload=(-1.5, 1.2), lead_heelward_back=(-18, -14))


def _no_recentre(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    rise = rng.uniform(3, 6, int(hit.sum()))
    t["top_trail"][hit] = np.minimum(t["mid_back_trail"][hit] + rise, 79)
    t["peak_trail"][hit] = t["top_trail"][hit]
    t["late_peak"][hit] = 1.0


def _late_crossing(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    never = hit & (rng.random(len(hit)) < 0.15)
    _set(t, hit, rng, crossing=(0.022, 0.05), mid_down=(38, 44), impact=(63, 73))
    _set(t, never, rng, crossing=(0.12, 0.12), mid_down=(31, 37), impact=(42, 45))
    t["mid_down"][hit] = np.minimum(np.maximum(t["mid_down"], 102 - t["top_trail"]), 46)[hit]
    t["never"][never] = 1.0


def _little_lead_load(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_down=(52.5, 55.2))
    t["impact"][hit] = t["mid_down"][hit] + rng.uniform(10, 18, int(hit.sum()))


def _toes_together_down(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_down=(12, 16), trail_down=(13, 18))
    top = t["trail_along"] - t["trail_sink"]
    t["trail_impact"][hit] = np.maximum(t["trail_impact"], top + t["trail_down"] + 2)[hit]


RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "unsteady_at_address": {"sway_share": (3.8, 4.6), "sway_lead": (2.2, 3.2), "sway_trail": (2.2, 3.2)},
    "rocking_start": {"rock": (16, 21)},
    "trail_heel_sink": {"trail_sink": (19, 25)},
    "trail_push": {"push": (7.5, 11)},
    "target_drift": {"mid_down": (66, 70), "impact": (89.5, 93.5)},
    "trail_heel_down": {"trail_impact": (30, 38)},
}
"""Faults that are even draws of some targets, and no more."""
BENDS: dict[str, Bend] = {
    "heels_at_address": _heels_at_address, "toes_at_address": _toes_at_address,
    "uneven_at_address": _uneven_at_address, "stays_centred": _stays_centred,
    "lead_heel_heavy": _lead_heel_heavy, "heels_together_back": _heels_together_back,
    "no_recentre": _no_recentre, "reverse_load": _reverse_load, "late_crossing": _late_crossing,
    "little_lead_load": _little_lead_load, "toes_together_down": _toes_together_down,
}  # fmt: skip


Metrics = dict[str, Array]


@dataclass(frozen=True)
class Limit:
    """Flagged below `under` or above `over`; no swing is planted within `margin` of either."""

    metric: str
    under: float | None = None
    over: float | None = None
    margin: float = 1.5

    def past(self, metrics: Metrics) -> Array:
        """True where the metric is past the limit; False where it is missing."""
        value = _value(metrics, self.metric)
        low = np.zeros(value.shape, bool) if self.under is None else value < self.under
        high = np.zeros(value.shape, bool) if self.over is None else value > self.over
        return low | high

    def near(self, metrics: Metrics) -> Array:
        """True where the metric is within the margin of the limit."""
        value = _value(metrics, self.metric)
        close = np.zeros(value.shape, bool)
        for edge in (self.under, self.over):
            if edge is not None:
                close |= np.abs(value - edge) < self.margin
        return close


LIMITS: dict[str, tuple[Limit, ...]] = {
    "heels_at_address": (Limit("address_mean_along_pct", under=36, margin=2.5),),
    "toes_at_address": (Limit("address_mean_along_pct", over=66, margin=2.0),),
    "uneven_at_address": (Limit("address_lead_share_pct", under=42, over=58, margin=1.8),),
    "unsteady_at_address": (Limit("address_sway_speed_mm_s", over=25, margin=9.0),),
    "rocking_start": (Limit("start_rock_pct", over=12, margin=3.0),),
    "stays_centred": (Limit("mid_back_trail_share_pct", under=60, margin=2.0),),
    "trail_heel_sink": (Limit("trail_heel_sink_pct", over=15, margin=1.8),),
    "lead_heel_heavy": (Limit("lead_heel_unload_pct_bw", under=5, margin=1.8),),
    "heels_together_back": (Limit("back_both_heelward_pct", over=10, margin=1.8),),
    "no_recentre": (Limit("recentre_pts", under=3, margin=1.5),),
    "reverse_load": (Limit("top_lead_share_pct", over=60, margin=2.0),),
    "trail_push": (Limit("trail_push_pts", over=4, margin=1.8),),
    "late_crossing": (Limit("crossing_before_impact_s", under=0.08, margin=0.018),),
    "little_lead_load": (Limit("mid_down_lead_share_pct", under=58, margin=2.0),),
    "toes_together_down": (Limit("down_both_toeward_pct", over=8, margin=2.0),),
    "target_drift": (
        Limit("impact_gain_pts", over=12, margin=1.8),
        Limit("impact_lead_share_pct", over=85, margin=1.5),
    ),
    "trail_heel_down": (Limit("impact_trail_heel_pct_bw", over=6, margin=2.0),),
}


def _value(metrics: Metrics, name: str) -> Array:
    if name == "address_mean_along_pct":
        return (metrics["address_lead_along_pct"] + metrics["address_trail_along_pct"]) / 2
    return metrics[name]


def violations(metrics: Metrics, judged_down: Array) -> dict[str, Array]:
    """Fault → (S,) bool: past every limit of the fault. Down and impact faults only where `judged_down`."""
    out = {fault: np.all([limit.past(metrics) for limit in LIMITS[fault]], axis=0) for fault in PLATE_FAULTS}
    out["late_crossing"] = out["late_crossing"] | (metrics["crossing"] == "never")
    for fault in FROM_THE_TOP:
        out[fault] = out[fault] & judged_down
    return out


def in_doubt(metrics: Metrics, judged_down: Array, planted: Metrics) -> Array:
    """(S,) bool: some verdict, or some null, could depend on noise; such a swing is generated again.

    A fault of two limits is in doubt only when each is past its limit or near it. Clubs whose downswing is
    not judged must still be clean there, so that leaving them unjudged changes no verdict.
    """
    doubt = np.zeros(judged_down.shape, bool)
    for limits in LIMITS.values():
        could = np.all([limit.past(metrics) | limit.near(metrics) for limit in limits], axis=0)
        near = np.any([limit.near(metrics) for limit in limits], axis=0)
        doubt |= could & near
    everywhere = violations(metrics, np.ones_like(judged_down))
    for fault in FROM_THE_TOP:
        doubt |= everywhere[fault] & ~judged_down
    doubt |= np.abs(metrics["trail_peak_share_pct"] - 58) < 1.5
    doubt |= np.abs(metrics["top_lead_share_pct"] - 50) < 2.5
    share = metrics["impact_lead_share_pct"]
    doubt |= (share > 46) & (share < 56)
    for fault, wanted in planted.items():
        doubt |= wanted & ~everywhere[fault]
    return doubt
