"""Full swings on a pressure plate, each with one fault planted by number, and a clean twin of each.

A curve is given by its values at phases: 0 takeaway, 1 top, 2 impact, 3 finish; a value at a phase is the mean
over ± 10 ms of the trace without noise. Curves are monotone between their knots and then smoothed, so nothing
in them is faster than about 16 Hz. `along` and shares are in %, moves toward the toes are positive.
"""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

RATE_HZ = 250.0
GRAVITY = 9.80665
FOOT_MM = 270.0  # only to turn the sway at address, in mm/s, into along
STANCE_MM = 400.0  # between the middles of the feet, only to turn that sway into share
MID_BACK, REPLANT, MID_DOWN = 0.55, 1.42, 1.64
SURGE = {"wedge": 1.34, "iron": 1.42, "hybrid": 1.47, "wood": 1.55, "driver": 1.64}
FULL = tuple(SURGE)
Knots = dict[float, float]


@dataclass(frozen=True)
class PlantedSwing:
    t_s: np.ndarray
    left_n: np.ndarray
    right_n: np.ndarray
    left_along_pct: np.ndarray  # NaN where the foot carries under 2 % of body weight
    right_along_pct: np.ndarray
    left_heel_n: np.ndarray | None
    right_heel_n: np.ndarray | None
    events: dict[str, float]
    body_mass_kg: float
    club_family: str
    handed: str


@dataclass(frozen=True)
class Case:
    """One planted swing.

    `faults` must all be found. `follows` may be found too: the same motion is that fault as well, by its nature.
    Nothing else may be found with a club of `families`. A twin has no faults.
    """

    faults: tuple[str, ...] = ()
    twin: str = ""
    families: tuple[str, ...] = FULL
    needs_heel_load: bool = False
    numbers: dict[str, float] = field(default_factory=dict)
    follows: tuple[str, ...] = ()
    curves: dict[str, Knots] = field(default_factory=dict)
    down_s: float | None = None  # the downswing's length, where a number hangs on it


def _foot(*along: float) -> Knots:
    """At takeaway, halfway back, top, when the lead heel is down, halfway down, impact, finish."""
    return dict(zip((0, MID_BACK, 1, REPLANT, MID_DOWN, 2, 3), along, strict=True))


LEAD = _foot(52, 62, 66, 52, 49, 45, 48)
TRAIL = _foot(52, 44, 42, 42, 43, 80, 88)
# The lead heel is up by halfway back and down again at the top.
REPLANTED = _foot(50, 66, 50, 49, 48, 45, 48) | {0.72: 66}


def _feet(lead: Knots, trail: Knots = TRAIL) -> dict[str, Knots]:
    return {"lead_along": lead, "trail_along": trail}


def _share(**lead_share: float) -> dict[str, Knots]:
    at = {"mid_back": MID_BACK, "peak": 0.75, "top": 1, "held": 1.25, "replant": REPLANT}
    at |= {"mid_down": MID_DOWN, "impact": 2}
    return {"lead_share": {at[name]: value for name, value in lead_share.items()}}


def _address(lead: float, trail: float) -> dict[str, float]:
    return {"lead_along_address": lead, "trail_along_address": trail}


def _back(lead: float, trail: float) -> dict[str, float]:
    return {"lead_move_back": lead, "trail_move_back": trail}


def _down(lead: float, trail: float) -> dict[str, float]:
    return {"lead_move_down": lead, "trail_move_down": trail}


IRONS = ("wedge", "iron")
WOODS = ("wood", "driver")

CASES: dict[str, Case] = {
    "clean": Case(),
    # At address, each foot by itself.
    "heels_lead_foot": Case(("heels_at_address",), "heels_at_address_twin", numbers=_address(28, 55),
        curves=_feet(_foot(28, 42, 48, 29, 28, 26, 30), _foot(55, 47, 45, 45, 46, 80, 88))),
    "heels_trail_foot": Case(("heels_at_address",), "heels_at_address_twin", numbers=_address(55, 31),
        curves=_feet(_foot(55, 64, 68, 55, 52, 48, 50), _foot(31, 29, 28, 28, 30, 76, 88))),
    "heels_at_address_twin": Case(numbers=_address(45, 55),
        curves=_feet(_foot(45, 55, 59, 45, 43, 41, 44), _foot(55, 47, 45, 45, 46, 80, 88))),
    # A heel that carries nothing cannot lighten.
    "toes_lead_foot": Case(("toes_at_address",), "toes_at_address_twin", numbers=_address(80, 55),
        follows=("lead_heel_heavy",),
        curves=_feet(_foot(80, 84, 86, 76, 70, 62, 58), _foot(55, 47, 45, 45, 46, 80, 88))),
    "toes_trail_foot": Case(("toes_at_address",), "toes_at_address_twin", numbers=_address(55, 76),
        curves=_feet(_foot(55, 64, 68, 55, 52, 48, 50), _foot(76, 65, 62, 62, 63, 84, 90))),
    "toes_at_address_twin": Case(numbers=_address(60, 60),
        curves=_feet(_foot(60, 68, 72, 60, 56, 50, 50), _foot(60, 51, 49, 49, 50, 80, 88))),
    # The trail heel has only 7 points to lose.
    "one_foot_each_way": Case(("heels_at_address", "toes_at_address"), "heels_at_address_twin",
        numbers=_address(22, 80), follows=("trail_heel_stays",),
        curves=_feet(_foot(22, 32, 36, 23, 22, 20, 25), _foot(80, 69, 66, 66, 67, 86, 90))),
    "one_foot_each_way_swapped": Case(("heels_at_address", "toes_at_address"), "toes_at_address_twin",
        numbers=_address(80, 22), follows=("lead_heel_heavy",),
        curves=_feet(_foot(80, 79, 78, 76, 74, 68, 60), _foot(22, 26, 28, 28, 30, 76, 88))),
    # The heels, one foot at a time.
    "lead_heel_heavy": Case(("lead_heel_heavy",), "lead_heel_heavy_twin",
        numbers={"lead_heel_lightens_back": 3.6}, curves=_feet(_foot(52, 53.4, 54, 52, 49, 45, 48))),
    "lead_heel_heavy_twin": Case(numbers={"lead_heel_lightens_back": 25}, curves=_feet(_foot(52, 62, 65.75, 52, 49, 45, 48))),
    # The load leaves the lead foot, its place does not move.
    "lead_share_alone": Case(("lead_heel_heavy",), "lead_share_alone_twin",
        numbers={"lead_heel_lightens_back": 0, "lead_share_lowest_back": 26},
        curves=_feet(_foot(50, 50, 50, 50, 48, 44, 48)) | _share(mid_back=28, peak=26, top=35)),
    "lead_share_alone_twin": Case(numbers={"lead_heel_lightens_back": 25, "lead_share_lowest_back": 26},
        curves=_feet(_foot(50, 60, 63.75, 50, 47, 44, 48)) | _share(mid_back=28, peak=26, top=35)),
    # The place moves to the ball and toes, the heel keeps its load.
    "lead_heel_heavy_measured": Case(
        ("lead_heel_heavy",), "lead_heel_heavy_measured_twin", needs_heel_load=True,
        numbers={"lead_heel_lightens_back": 3},
        curves=_feet(LEAD) | {"lead_heel": _foot(33, 31, 30, 33, 37, 45, 40)}),
    # The middle of the foot takes what the heel gives up.
    "lead_heel_heavy_measured_twin": Case(needs_heel_load=True, numbers={"lead_heel_lightens_back": 25},
        curves=_feet(_foot(50, 51.4, 52, 50, 48, 45, 48)) | {"lead_heel": _foot(36, 17, 11, 36, 40, 45, 40)}),
    "trail_heel_stays": Case(("trail_heel_stays",), "trail_heel_stays_twin",
        numbers={"trail_heel_lightens_down": 3.6}, follows=("trail_heel_down",),
        curves=_feet(LEAD, _foot(52, 44, 42, 42, 42.4, 44, 88))),
    "trail_heel_stays_twin": Case(
        numbers={"trail_heel_lightens_down": 25}, curves=_feet(LEAD, _foot(62, 57.5, 56.25, 56.25, 57, 80, 88))),
    "trail_heel_stays_measured": Case(
        ("trail_heel_stays",), "trail_heel_stays_measured_twin", needs_heel_load=True,
        numbers={"trail_heel_lightens_down": 4}, follows=("trail_heel_down",),
        curves=_feet(LEAD) | {"trail_heel": _foot(33, 47, 51, 51, 50.6, 47, 5)}),
    "trail_heel_stays_measured_twin": Case(needs_heel_load=True, numbers={"trail_heel_lightens_down": 25},
        curves=_feet(LEAD) | {"trail_heel": _foot(20, 25, 27, 27, 26.4, 2, 1)}),
    # Lightened, but on the ground at impact and at the finish.
    "trail_heel_down": Case(("trail_heel_down",), "trail_heel_down_twin",
        numbers={"trail_heel_share_impact": 36.4, "trail_heel_lightens_down": 25.5},
        curves=_feet(LEAD, _foot(48, 38, 36, 36, 37, 50, 50))),
    "trail_heel_down_twin": Case(numbers={"trail_heel_share_impact": 0, "trail_heel_lightens_down": 50.9}, curves=_feet(LEAD)),
    # It starts at 28, and that is a fault too.
    "trail_heel_sink_deep": Case(("trail_heel_sink", "heels_at_address"), "trail_heel_sink_twin",
        numbers={"trail_along_lowest_back": 14, "trail_move_back": -14},
        curves=_feet(LEAD, _foot(28, 17, 14, 14, 15, 74, 86))),
    "trail_heel_sink_far": Case(("trail_heel_sink",), "trail_heel_sink_twin",
        numbers={"trail_along_lowest_back": 40, "trail_move_back": -20},
        curves=_feet(LEAD, _foot(60, 44, 40, 40, 41, 80, 88))),
    "trail_heel_sink_twin": Case(numbers={"trail_along_lowest_back": 40, "trail_move_back": -8},
        curves=_feet(LEAD, _foot(48, 41.6, 40, 40, 41, 80, 88))),
    # Both feet.
    "heels_together_back": Case(("heels_together_back",), "heels_together_back_twin",
        numbers=_back(-14, -14), follows=("feet_alike_back", "lead_heel_heavy"),
        curves=_feet(_foot(60, 50, 46, 45, 44, 42, 46), _foot(52, 42, 38, 38, 39, 80, 88))),
    # The lead heel lightens by halfway back, then both go to the heels.
    "heels_together_back_late": Case(("heels_together_back",), "heels_together_back_twin",
        numbers=_back(-14, -14), follows=("feet_alike_back",),
        curves=_feet(_foot(60, 69, 46, 45, 44, 42, 46), _foot(52, 50, 38, 38, 39, 80, 88))),
    "heels_together_back_twin": Case(numbers=_back(14, -10), curves=_feet(LEAD)),
    "toes_together_back": Case(("toes_together_back",), "toes_together_back_twin",
        numbers=_back(14, 14), follows=("feet_alike_back",),
        curves=_feet(LEAD, _foot(46, 56, 60, 60, 61, 82, 88))),
    "toes_together_back_twin": Case(numbers=_back(14, -4), curves=_feet(LEAD, _foot(46, 43, 42, 42, 43, 80, 88))),
    "heels_together_down": Case(("heels_together_down",), "heels_together_down_twin",
        numbers=_down(-17, -14), follows=("feet_alike_down",),
        curves=_feet(LEAD, _foot(52, 45, 43, 32, 29, 76, 88))),
    "heels_together_down_twin": Case(numbers=_down(-17, 2), curves=_feet(LEAD, _foot(52, 44, 42, 42, 44, 80, 88))),
    "toes_together_down": Case(("toes_together_down",), "toes_together_down_twin",
        numbers=_down(14, 16), follows=("feet_alike_down",),
        curves=_feet(REPLANTED | {REPLANT: 59, MID_DOWN: 64, 2: 67, 3: 60}, TRAIL | {REPLANT: 52, MID_DOWN: 58})),
    "toes_together_down_twin": Case(
        numbers=_down(-2, 16), curves=_feet(REPLANTED, TRAIL | {REPLANT: 52, MID_DOWN: 58})),
    "feet_alike_back": Case(("feet_alike_back",), "feet_alike_back_twin",
        numbers=_back(14, 7) | {"opposition_back": -1},
        curves=_feet(LEAD, _foot(50, 55, 57, 57, 58, 82, 88))),
    "feet_alike_back_twin": Case(numbers=_back(14, -10) | {"opposition_back": 1}, curves=_feet(LEAD, TRAIL | {MID_BACK: 44.9})),
    "feet_alike_down": Case(("feet_alike_down",), "feet_alike_down_twin",
        numbers=_down(3, 7) | {"opposition_down": -1},
        curves=_feet(REPLANTED | {REPLANT: 51.3, MID_DOWN: 53, 2: 66, 3: 60}, TRAIL | {REPLANT: 45, MID_DOWN: 49})),
    "feet_alike_down_twin": Case(numbers=_down(-2, 9) | {"opposition_down": 1},
        curves=_feet(_foot(52, 65, 54, 52.8, 51.9, 45, 48) | {0.7: 66}, TRAIL | {REPLANT: 47, MID_DOWN: 51})),
    "heel_order": Case(("heel_order",), "heel_order_twin", down_s=0.26, numbers={"heel_order_ms": 187},
        curves=_feet(_foot(52, 62, 66, 66, 65, 46, 48) | {1.9: 51}, TRAIL | {1.1: 44, REPLANT: 54, MID_DOWN: 62})),
    "heel_order_twin": Case(numbers={"heel_order_ms": -92}, down_s=0.26, curves=_feet(LEAD)),
    # The load from foot to foot.
    "trail_push": Case(("trail_push",), "trail_push_twin",
        numbers={"trail_force_rise": 12.8, "total_change": 24},
        curves=_share(peak=28.5, top=38, held=40, replant=50) | {"total": {1: 0.82, 1.25: 1.06, REPLANT: 1.12}}),
    # The trail share goes up by 1 although that foot pushes 4 % of body weight less.
    "trail_push_twin": Case(numbers={"trail_force_rise": 0, "total_change": -7},
        curves=_share(peak=28.5, top=38, held=37, replant=50) | {"total": {1: 0.82, 1.25: 0.75, REPLANT: 0.86}}),
    "far_trail": Case(("far_trail",), "far_trail_twin",
        numbers={"trail_share_mid_back": 88}, curves=_share(mid_back=12, peak=14, top=30)),
    "far_trail_twin": Case(numbers={"trail_share_mid_back": 72}, curves=_share(mid_back=28, peak=27, top=38)),
    "early_shove": Case(("early_shove",), "early_shove_twin",
        numbers={"lead_share_mid_down": 88, "lead_share_gain": 2}, curves=_share(mid_down=88, impact=90)),
    "early_shove_twin": Case(numbers={"lead_share_mid_down": 72, "lead_share_gain": 5}, curves=_share(mid_down=72, impact=77)),
    # Still going to the trail foot at the top, so nothing has come back there.
    "late_back": Case(("late_back",), "late_back_twin", follows=("no_recentre",), numbers={"recentred": -1, "trail_share_top": 76},
        curves={"lead_share": {0.75: 27, 1: 24, 1.12: 23}, "total": {1.12: 0.8}}),
    # Peak before the top, and then as good as no way back.
    "late_back_held": Case(("late_back",), "late_back_twin", follows=("no_recentre",),
        numbers={"recentred": 0.5, "trail_share_top": 71.5}, curves=_share(mid_back=30, peak=28, top=28.5)),
    "late_back_twin": Case(numbers={"recentred": 9.5, "trail_share_top": 62}, curves=_share(mid_back=30, peak=28.5, top=38)),
    "target_drift": Case(("target_drift",), "target_drift_twin", IRONS,
        numbers={"lead_share_mid_down": 60, "lead_share_gain": 20}, curves=_share(mid_down=60, impact=80)),
    "target_drift_twin": Case(
        families=IRONS, numbers={"lead_share_mid_down": 71, "lead_share_gain": 5}, curves=_share(mid_down=71, impact=76)),
    "little_lead_load": Case(("little_lead_load",), "little_lead_load_twin",
        numbers={"lead_share_impact": 56, "lead_share_gain": 2, "trail_force_rise": 2},
        curves=_share(mid_down=54, impact=56) | {"total": {0.85: 0.83, 0.93: 0.87, 1: 0.96, REPLANT: 1.1, 1.78: 1.34}}),
    "little_lead_load_twin": Case(numbers={"lead_share_impact": 76, "lead_share_gain": 5}, curves=_share(mid_down=71, impact=76)),
    # No faults at all.
    "press_forward": Case(numbers={"starting_move": 6}, curves={"lead_share": {-0.16: 50, 0: 54.5, 0.06: 56, 0.22: 50}}),
    "lead_foot_leaves": Case(families=WOODS, numbers={"lead_load_lowest_after": 1}, curves={
        "lead_share": {2.1: 40, 2.21: 3, 2.5: 80}, "total": {2: 1.1, 2.1: 0.6, 2.21: 0.34, 2.5: 1.05}}),
}  # fmt: skip


def _monotone(at: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Cubic through the knots without overshoot (Fritsch and Carlson), level outside them."""
    h, d = np.diff(x), np.diff(y) / np.diff(x)
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    same = d[1:] * d[:-1] > 0
    inner = np.where(same, (w1 + w2) / (w1 / np.where(same, d[:-1], 1) + w2 / np.where(same, d[1:], 1)), 0)
    slope = np.concatenate([[0], inner, [0]])
    at = np.clip(at, x[0], x[-1])
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(h) - 1)
    s = (at - x[i]) / h[i]
    ends = (1 + 2 * s) * (1 - s) ** 2 * y[i] + s**2 * (3 - 2 * s) * y[i + 1]
    return ends + h[i] * (s * (1 - s) ** 2 * slope[i] - s**2 * (1 - s) * slope[i + 1])


@lru_cache(maxsize=1024)  # most cases change one or two of a swing's curves
def _curve(samples: int, phase_s: tuple[float, ...], knots: tuple[tuple[float, float], ...]) -> np.ndarray:
    """A smoothed curve whose ± 10 ms means at the knots (phase, value) are their values."""
    t = np.arange(samples) / RATE_HZ
    knot_s = np.interp([phase for phase, _ in knots], range(-1, 4), phase_s)
    wanted = np.array([value for _, value in knots], dtype=float)
    kernel = np.exp(-0.5 * (np.arange(-10, 11) / RATE_HZ / 0.008) ** 2)
    kernel /= kernel.sum()
    y = wanted.copy()
    for _ in range(12):
        curve = np.convolve(np.pad(_monotone(t, knot_s, y), 10, mode="edge"), kernel, mode="valid")
        window = np.convolve(np.pad(curve, 2, mode="edge"), np.full(5, 0.2), mode="valid")
        y += wanted - np.interp(knot_s, t, window)
    return curve


def _sway(t: np.ndarray, events: dict[str, float], pct_per_s: float, rng: np.random.Generator) -> np.ndarray:
    """Slow sway of this mean speed while standing, none on average at address, gone at takeaway."""
    sway = sum(
        np.sin(2 * np.pi * (rng.uniform(*band) * t + rng.random())) for band in ((0.3, 0.6), (0.7, 1.1))
    )
    quiet = t < events["takeaway"]
    sway *= pct_per_s / np.mean(np.abs(np.gradient(sway[quiet], 1 / RATE_HZ)))
    sway -= sway[np.abs(t - events["address"]) <= 0.15].mean()
    left = np.clip((events["takeaway"] - t) / 0.25, 0, 1)
    return sway * left**2 * (3 - 2 * left)


def planted_swing(
    case: str, *, club_family: str, handed: str, heel_load: bool, noise_n: float, seed: int
) -> PlantedSwing:
    if CASES[case].needs_heel_load and not heel_load:
        raise ValueError(f"{case} is planted in the measured heel load")
    t, feet, events, mass = _feet_of(case, club_family, noise_n, seed)
    sides = ("left", "right") if handed == "right" else ("right", "left")
    made = {}
    for side, (load, along, heel) in zip(sides, feet, strict=True):
        made |= {f"{side}_n": load, f"{side}_along_pct": along, f"{side}_heel_n": heel if heel_load else None}
    return PlantedSwing(
        t_s=t, **made, events=events, body_mass_kg=mass, club_family=club_family, handed=handed
    )


@lru_cache(maxsize=256)  # the hand says which foot is which; a plate that measures heels sees the same feet
def _feet_of(
    case: str, club_family: str, noise_n: float, seed: int
) -> tuple[np.ndarray, list[tuple[np.ndarray, ...]], dict[str, float], float]:
    """Time, (load, along, heel load) of the lead and the trail foot, event times, body mass."""
    plan = CASES[case]
    rng = np.random.default_rng(seed)
    mass = rng.uniform(45, 110)
    weight = mass * GRAVITY
    takeaway, back, down, after = rng.uniform([1.35, 0.75, 0.22, 0.67], [1.45, 1.0, 0.30, 0.73])
    top = takeaway + back
    impact = top + (plan.down_s or down)
    phase_s = np.array([takeaway - back, takeaway, top, impact, impact + after])
    t = np.arange(round((phase_s[-1] + 0.36) * RATE_HZ)) / RATE_HZ
    phases = {"takeaway": 0, "mid_back": MID_BACK, "top": 1, "mid_down": MID_DOWN, "impact": 2, "finish": 3}
    events = {"address": takeaway - 0.6} | {
        n: float(np.interp(p, range(-1, 4), phase_s)) for n, p in phases.items()
    }

    lead_base, trail_base, mid_back, at_top, mid_down, gain, surge = rng.uniform(-1, 1, 7)
    trail_mid_back, lead_mid_down = 70 + 1.5 * mid_back, 70 + mid_down
    dip = 0.82 + 0.01 * surge
    curves: dict[str, Knots] = {
        "lead_along": {phase: value + 1.8 * lead_base for phase, value in LEAD.items()},
        "trail_along": {phase: value + 1.8 * trail_base for phase, value in TRAIL.items()},
        "lead_share": {
            0: 50, MID_BACK: 100 - trail_mid_back, 0.75: 98.5 - trail_mid_back, 1: 38 + at_top, REPLANT: 50,
            MID_DOWN: lead_mid_down, 2: lead_mid_down + 4.8 + 0.9 * gain, 3: 92.5 + gain,
        },
        "total": {
            0: 1, 0.25: 0.96, MID_BACK: 1, 0.93: dip + 0.01, 1: dip, REPLANT: 0.98,
            1.78: SURGE[club_family] + 0.03 * surge, 2: 1.18, 2.21: 0.8, 2.6: 0.97, 3: 1,
        },
    }  # fmt: skip
    smooth = {}
    for name in curves | plan.curves:
        knots = sorted((curves.get(name, {}) | plan.curves.get(name, {})).items())
        smooth[name] = _curve(len(t), tuple(phase_s), tuple(knots))

    share = np.clip(smooth["lead_share"] + _sway(t, events, 2.5 / STANCE_MM * 100, rng), 1, 99) / 100
    sway = _sway(t, events, 3.5 / FOOT_MM * 100, rng)
    feet = []
    for foot, part in (("lead", share), ("trail", 1 - share)):
        along = np.clip(smooth[f"{foot}_along"] + sway, 5, 95)
        heel_share = np.clip(smooth.get(f"{foot}_heel", (70 - along) / 0.55) / 100, 0, 1)
        load = part * smooth["total"] * weight
        heel_noise, fore_noise = rng.normal(0, noise_n / np.sqrt(2), (2, len(t)))
        noisy = np.maximum(load + heel_noise + fore_noise, 0)
        heel = np.clip(load * heel_share + heel_noise, 0, noisy)
        along = np.where(noisy < 0.02 * weight, np.nan, along + rng.normal(0, 0.3, len(t)) * (noise_n > 0))
        feet.append((noisy, along, heel))
    return t, feet, events, float(mass)
