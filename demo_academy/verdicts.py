"""Which limits the true metrics of planted swings are past.

Limits are those of the fault table; they are repeated here on purpose, because the generator is the oracle
that the rules are compared with. Each limit has the margin that sensor noise needs: a swing whose metric lies
within it is generated again, so planted faults are never in doubt.
"""

from dataclasses import dataclass

import numpy as np

from demo_academy.curves import Array
from demo_academy.faults import PLATE_FAULTS, SHORT_CLUBS_ONLY

Metrics = dict[str, Array]


@dataclass(frozen=True)
class Limit:
    """Flagged below `under` or above `over`; no swing is planted within `margin` of either."""

    metric: str
    under: float = -np.inf
    over: float = np.inf
    margin: float = 1.5

    def past(self, metrics: Metrics) -> Array:
        """True where the metric is past the limit; False where it is missing."""
        value = value_of(metrics, self.metric)
        return np.asarray((value < self.under) | (value > self.over))

    def near(self, metrics: Metrics) -> Array:
        """True where the metric is within the margin of the limit."""
        value = value_of(metrics, self.metric)
        return np.minimum(np.abs(value - self.under), np.abs(value - self.over)) < self.margin


LIMITS: dict[str, tuple[Limit, ...]] = {
    "heels_at_address": (Limit("address_least_along_pct", under=36, margin=2.5),),
    "toes_at_address": (Limit("address_most_along_pct", over=72, margin=2.0),),
    "uneven_at_address": (Limit("address_lead_share_pct", under=42, over=58, margin=1.8),),
    "unsteady_at_address": (Limit("address_sway_speed_mm_s", over=25, margin=9.0),),
    "rocking_start": (Limit("start_rock_pct", over=12, margin=3.0),),
    "stays_centred": (Limit("mid_back_trail_share_pct", under=60, margin=2.0),),
    "far_trail": (Limit("mid_back_trail_share_pct", over=82, margin=2.0),),
    "trail_heel_sink": (
        Limit("trail_heel_sink_pct", over=15, margin=1.8),
        Limit("back_trail_least_along_pct", under=25, margin=1.5),
    ),
    "lead_heel_heavy": (Limit("lead_heel_lightens_pts", under=8, margin=3.5),),
    "heels_together_back": (Limit("back_both_heelward_pct", over=10, margin=1.8),),
    "toes_together_back": (Limit("back_both_toeward_pct", over=10, margin=1.8),),
    "feet_alike_back": (Limit("back_heel_opposition", under=-0.5, margin=0.2),),
    "no_recentre": (Limit("recentre_pts", under=3, margin=1.5),),
    "late_back": (Limit("return_after_top_s", over=0.02, margin=0.01),),
    "reverse_load": (Limit("top_lead_share_pct", over=60, margin=2.0),),
    "trail_push": (Limit("trail_push_off_pct_bw", over=6, margin=2.5),),
    "late_crossing": (Limit("crossing_before_impact_s", under=0.08, margin=0.018),),
    "little_lead_load": (Limit("mid_down_lead_share_pct", under=58, margin=2.0),),
    "early_shove": (Limit("mid_down_lead_share_pct", over=82, margin=2.0),),
    "toes_together_down": (Limit("down_both_toeward_pct", over=8, margin=2.0),),
    "heels_together_down": (Limit("down_both_heelward_pct", over=8, margin=2.0),),
    "feet_alike_down": (Limit("down_heel_opposition", under=-0.5, margin=0.2),),
    "heel_order": (Limit("heel_order_ms", over=60, margin=25.0),),
    "trail_heel_stays": (Limit("trail_heel_lightens_pts", under=8, margin=3.0),),
    "target_drift": (Limit("impact_gain_pts", over=12, margin=1.8),),
    "trail_heel_down": (Limit("impact_trail_heel_pct_bw", over=6, margin=2.0),),
}
ONE_IS_ENOUGH = ("trail_heel_sink",)
"""Faults of which one limit is enough; the others need all of theirs."""
EDGES = {  # where a null, and not a verdict, could depend on noise
    "trail_peak_share_pct": (58.0, 1.5), "top_lead_share_pct": (50.0, 2.5),
    "address_lead_heel_share_pct": (8.0, 3.0), "top_trail_heel_share_pct": (8.0, 3.0),
}  # fmt: skip


def value_of(metrics: Metrics, name: str) -> Array:
    """A metric by name; the lower and the higher of the feet's places at address too."""
    places = [metrics[f"address_{foot}_along_pct"] for foot in ("lead", "trail")]
    match name:
        case "address_least_along_pct":
            return np.minimum(*places)
        case "address_most_along_pct":
            return np.maximum(*places)
        case _:
            return metrics[name]


def _past(metrics: Metrics, fault: str) -> Array:
    past = [limit.past(metrics) for limit in LIMITS[fault]]
    return np.any(past, axis=0) if fault in ONE_IS_ENOUGH else np.all(past, axis=0)


def _unsure(metrics: Metrics, fault: str) -> Array:
    """Whether noise could change the verdict."""
    past = [limit.past(metrics) for limit in LIMITS[fault]]
    near = [limit.near(metrics) for limit in LIMITS[fault]]
    clear = [p & ~n for p, n in zip(past, near, strict=True)]
    if fault in ONE_IS_ENOUGH:
        return np.any(near, axis=0) & ~np.any(clear, axis=0)
    return np.all([p | n for p, n in zip(past, near, strict=True)], axis=0) & np.any(near, axis=0)


def violations(metrics: Metrics, short_club: Array) -> dict[str, Array]:
    """Fault → (S,) bool: past its limits. What only short clubs are judged for only where `short_club`."""
    out = {fault: _past(metrics, fault) for fault in PLATE_FAULTS}
    out["late_crossing"] = out["late_crossing"] | (metrics["crossing"] == "never")
    for fault in SHORT_CLUBS_ONLY:
        out[fault] = out[fault] & short_club
    return out


def in_doubt(metrics: Metrics, short_club: Array, planted: Metrics) -> Array:
    """(S,) bool: some verdict, or some null, could depend on noise; such a swing is generated again.

    Clubs that a fault is not judged for must still be without it, so that leaving them unjudged changes no
    verdict.
    """
    doubt = np.zeros(short_club.shape, bool)
    for fault in LIMITS:
        doubt |= _unsure(metrics, fault)
    everywhere = violations(metrics, np.ones_like(short_club))
    for fault in SHORT_CLUBS_ONLY:
        doubt |= everywhere[fault] & ~short_club
    for name, (edge, margin) in EDGES.items():
        doubt |= np.abs(metrics[name] - edge) < margin
    doubt |= _push_unsure(metrics)
    share = metrics["impact_lead_share_pct"]
    doubt |= (share > 46) & (share < 56)
    for fault, wanted in planted.items():
        doubt |= wanted & ~everywhere[fault]
    return doubt


def _push_unsure(metrics: Metrics) -> Array:
    """Whether noise could decide if the trail foot pushed, or only lightened less than the load rose."""
    gained = metrics["trail_push_share_pts"]
    over = np.stack([
        (metrics["trail_push_total_pct_bw"] - 3) / 2, (gained + 4) / 3,
        (gained + 100 - metrics["top_lead_share_pct"] - 50) / 2,
    ])  # fmt: skip
    return (metrics["trail_push_pct_bw"] > 4) & (over > -1).all(axis=0) & (over < 1).any(axis=0)
