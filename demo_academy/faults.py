"""How each fault bends a swing's targets well past its limit, and which faults can't be planted together."""

from collections.abc import Callable

import numpy as np

from demo_academy.curves import Array, Targets

Bend = Callable[[Targets, Array, np.random.Generator], None]

BACK_FEET = (
    "trail_heel_sink", "lead_heel_heavy", "heels_together_back", "toes_together_back", "feet_alike_back",
)  # fmt: skip
DOWN_FEET = (
    "toes_together_down", "heels_together_down", "feet_alike_down", "heel_order", "trail_heel_stays",
    "trail_heel_down",
)  # fmt: skip
EXCLUDES: dict[str, tuple[str, ...]] = {
    "heels_at_address": ("toes_at_address", *BACK_FEET, "trail_heel_stays", "trail_heel_down"),
    "toes_at_address": (*BACK_FEET, *DOWN_FEET),
    "stays_centred": ("far_trail", "reverse_load", "no_recentre", "late_back"),
    "far_trail": ("reverse_load", "no_recentre", "late_back", "trail_push"),
    "reverse_load": ("no_recentre", "late_back", "trail_push", "late_crossing", "little_lead_load"),
    "no_recentre": ("late_back", "trail_push"),
    "late_back": ("trail_push",),
    "trail_push": ("late_crossing", "little_lead_load"),
    "late_crossing": ("little_lead_load", "early_shove", "target_drift", "trail_heel_down"),
    "little_lead_load": ("early_shove", "target_drift"),
    "early_shove": ("target_drift", "trail_heel_down"),
    "target_drift": ("trail_heel_down",),
} | {
    fault: (
        *group[place + 1 :],
        *(DOWN_FEET[:4] if fault in ("lead_heel_heavy", "heels_together_back") else ()),
    )
    for group in (BACK_FEET, DOWN_FEET)
    for place, fault in enumerate(group)
}
"""A fault planted in a swing excludes the named ones: together they would mask each other."""

TO_THE_TOP = (
    "heels_at_address", "toes_at_address", "uneven_at_address", "unsteady_at_address", "rocking_start",
    "stays_centred", "far_trail", *BACK_FEET, "no_recentre", "late_back", "reverse_load",
)  # fmt: skip
FROM_THE_TOP = (
    "trail_push", "late_crossing", "little_lead_load", "early_shove", *DOWN_FEET[:5], "target_drift",
    "trail_heel_down",
)  # fmt: skip
SHORT_CLUBS_ONLY = ("late_crossing", "target_drift")
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
    _set(t, hit, rng, lead_along=(27, 31), trail_along=(29, 31.5), trail_sink=(0.5, 1.5))


def _toes_at_address(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_along=(56.5, 57.5), trail_along=(78, 81), lead_lightens=(19, 21))
    _set(t, hit, rng, trail_sink=(2, 5))
    t["trail_down"][hit] = 8.0
    t["trail_impact"][hit] = np.maximum(t["trail_along"], t["trail_impact"])[hit] + 3


def _uneven_at_address(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    to_lead = rng.random(len(hit)) < 0.5
    _set(t, hit & to_lead, rng, address_share=(61, 64))
    _set(t, hit & ~to_lead, rng, address_share=(36, 39))


def _stays_centred(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_back_trail=(50, 55))
    rise = rng.uniform(9.5, 12, int(hit.sum()))
    t["peak_trail"][hit] = np.maximum(t["mid_back_trail"][hit] + rise, 61.0)
    t["top_trail"][hit] = np.maximum(t["peak_trail"] - t["recentre"], 53.5)[hit]


def _reverse_load(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, top_trail=(29, 35))
    t["peak_trail"][hit] = t["mid_back_trail"][hit] + 2.5
    t["mid_down"][hit] = np.maximum(t["mid_down"], 103 - t["top_trail"])[hit]
    t["impact"][hit] = np.maximum(t["impact"], np.minimum(t["mid_down"] + 2, 83))[hit]


def _far_trail(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_back_trail=(84.5, 87), recentre=(8, 12))
    t["peak_trail"][hit] = t["mid_back_trail"][hit] + rng.uniform(1, 2, int(hit.sum()))
    t["top_trail"][hit] = (t["peak_trail"] - t["recentre"])[hit]


def _heels_together_back(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, trail_sink=(12.2, 12.9), lead_lightens=(-1.5, 1.2), lead_heelward_back=(-18, -14))


def _feet_alike_back(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, trail_sink=(-7.8, -6), lead_lightens=(22, 27))


def _no_recentre(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    rise = rng.uniform(3, 6, int(hit.sum()))
    t["top_trail"][hit] = np.minimum(t["mid_back_trail"][hit] + rise, 79)
    t["peak_trail"][hit] = t["top_trail"][hit]
    t["late_peak"][hit] = 1.0


def _late_crossing(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    never = hit & (rng.random(len(hit)) < 0.15)
    _set(t, hit, rng, crossing=(0.022, 0.05), mid_down=(46.6, 48), impact=(56.3, 57.4), surge=(108, 112))
    _set(t, never, rng, crossing=(0.12, 0.12), mid_down=(34.5, 37), impact=(42, 44))
    t["never"][never] = 1.0


def _little_lead_load(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_down=(53, 55.2), surge=(110, 116))
    t["impact"][hit] = t["mid_down"][hit] + rng.uniform(4, 9, int(hit.sum()))


def _early_shove(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, mid_down=(84.8, 87))
    t["impact"][hit] = (
        t["mid_down"][hit] + np.where(t["gain"] < 0, t["gain"], rng.uniform(1, 3, len(hit)))[hit]
    )


def _toes_together_down(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, lead_lightens=(13, 15), lead_down=(11, 13), trail_down=(13, 18), lead_impact=(0, 3))
    top = t["trail_along"] - t["trail_sink"]
    t["trail_impact"][hit] = np.maximum(t["trail_impact"], top + t["trail_down"] + 2)[hit]


def _trail_heel_stays(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    _set(t, hit, rng, trail_down=(0.3, 0.8), trail_sink=(4, 8))
    t["trail_impact"][hit] = (t["trail_along"] - t["trail_sink"])[hit] + rng.uniform(1.3, 2.4, int(hit.sum()))


def _trail_heel_down(t: Targets, hit: Array, rng: np.random.Generator) -> None:
    """Lightened on the way, and still on the ground."""
    _set(t, hit, rng, trail_sink=(8, 9.5), trail_impact=(50.5, 52.5), surge=(128, 150))


RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "unsteady_at_address": {"sway_share": (3.8, 4.6), "sway_lead": (2.2, 3.2), "sway_trail": (2.2, 3.2)},
    "rocking_start": {"rock": (16, 21)},
    "trail_heel_sink": {"trail_sink": (19, 23)},
    "lead_heel_heavy": {"lead_lightens": (-2, 4), "trail_sink": (1, 6)},
    "toes_together_back": {
        "trail_along": (45, 46.5),
        "trail_sink": (-15.5, -13.5),
        "lead_lightens": (27, 30),
        "trail_down": (3, 5),
    },
    "trail_push": {
        "push": (1, 2),
        "dip": (20, 23),
        "pushes": (1, 1),
        "surge": (144, 160),
        "recentre": (10, 13),
    },
    "heels_together_down": {"lead_lightens": (26, 30), "trail_down": (-15, -12)},
    "feet_alike_down": {
        "lead_lightens": (15, 18),
        "lead_down": (4, 5.5),
        "lead_impact": (6, 9),
        "trail_down": (18, 21),
    },
    "heel_order": {"lead_down": (0.2, 1), "lead_impact": (-18, -15), "trail_down": (20, 24)},
    "target_drift": {"mid_down": (66, 70), "impact": (89.5, 93.5)},
}
"""Faults that are even draws of some targets, and no more."""
BENDS: dict[str, Bend] = {
    "heels_at_address": _heels_at_address, "toes_at_address": _toes_at_address,
    "uneven_at_address": _uneven_at_address, "stays_centred": _stays_centred, "far_trail": _far_trail,
    "heels_together_back": _heels_together_back, "feet_alike_back": _feet_alike_back,
    "no_recentre": _no_recentre, "late_back": _no_recentre, "reverse_load": _reverse_load,
    "late_crossing": _late_crossing, "little_lead_load": _little_lead_load, "early_shove": _early_shove,
    "toes_together_down": _toes_together_down, "trail_heel_stays": _trail_heel_stays,
    "trail_heel_down": _trail_heel_down,
}  # fmt: skip
