"""Which fault limits a swing's true metrics are past, and whether any stands too near its limit to say.

One row per fault of the fault table: the metrics it reads, the limit, and the margin that sensor
noise needs. A swing whose metric lies within the margin is drawn again, so planted faults are never in doubt.
"""

from dataclasses import dataclass

import numpy as np

from demo_academy.course import Array
from demo_academy.faults import FROM_THE_TOP, PLATE_FAULTS

Metrics = dict[str, Array]


@dataclass(frozen=True)
class Limit:
    """Flagged below `under` or above `over`; `margin` is kept free on both sides of each."""

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
        """True where the metric stands within the margin of the limit."""
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
    """(S,) bool: some verdict, or some null, could turn on noise; such a swing is drawn again.

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
