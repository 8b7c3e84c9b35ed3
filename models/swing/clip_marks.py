"""Where a film lies on its plate's clock, by moments that both clocks hold: plate time = clip time + offset.

Best first, and each with a standard error (common practice, no source, unless said):

- `stated`: `[clip] offset_s`, good to half a picture; `by_hand`: a coach laid the film over the load curve.
- `marked`: events marked on both clocks. Each differs by the offset, as well as that event can be seen
  (`EVENT_SE_S`) and a picture can be chosen (1 / (fps·√12)); the mean is weighted by 1 / variance. Events
  that differ from it by over four standard errors disagree: then the clocks run at different rates, or a mark
  is wrong, and no offset is known.
- `heard`: the strike in the film's own sound is the impact on the plate, marked or estimated. One click is
  taken as the strike; of several, the one that agrees with other marks, else none.
- `stamp`: a heel lifted and stamped before set-up, where session.toml announces it: its landing on film is
  the sudden load on the plate.

Where the camera ran through, all its clips share one offset and a drift of the clocks against each other,
0 ± 50 parts in a million (quartz clocks; common practice, no source): one mark serves every swing.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.swing.clip import HeelRise
from warehouse.vocabulary import FEET

FLOATS = NDArray[np.float64]
EVENT_SE_S = {
    "address": 0.2, "takeaway": 0.05, "mid_back": 0.02, "top": 0.02, "mid_down": 0.01, "impact": 0.002,
    "finish": 0.1,
}  # fmt: skip
DISAGREE_SES = 4.0
DRIFT_SE = 50e-6
LIFTED_MM, DOWN_MM = 12.0, 4.0  # a heel that is stamped comes from above the first to under the second
LANDS_WITHIN_S = 0.15
STAMP_JUMP = 0.25  # of the swing's mean load, the least sudden load of a stamp
STAMP_RISE_S = 0.025
STAMP_SE_S = 0.003


@dataclass(frozen=True)
class Offset:
    """Plate time − clip time of one swing's film."""

    offset_s: float
    se_s: float
    source: str  # stated | by_hand | marked | heard | stamp; feet, of a rough one that is never kept

    def agrees(self, other: "Offset") -> bool:
        """Whether two offsets differ by under four of their standard errors."""
        return abs(self.offset_s - other.offset_s) <= DISAGREE_SES * math.hypot(self.se_s, other.se_s)


@dataclass(frozen=True)
class Mark:
    """A moment on one clock."""

    t_s: float
    error_s: float = 0.0  # what is known of this mark's own error, beside how well such an event can be seen


def frame_se_s(fps: float) -> float:
    """Standard deviation of a time that is known to the picture: a uniform error of one picture's length."""
    return 1.0 / (fps * math.sqrt(12.0))


def mean_offset(offsets: Sequence[Offset]) -> Offset | None:
    """The mean weighted by 1 / variance, with the first one's source; None where one disagrees with it."""
    values, errors = np.array([(one.offset_s, one.se_s) for one in offsets]).T
    weight = errors**-2.0
    mean = float(weight @ values / weight.sum())
    if np.any(np.abs(values - mean) > DISAGREE_SES * errors):
        return None
    return Offset(mean, float(weight.sum() ** -0.5), offsets[0].source)


def marked_offsets(plate: Mapping[str, Mark], film: Mapping[str, Mark], fps: float) -> list[Offset]:
    """The offset by each event that is marked on both clocks."""
    found = []
    for event in (event for event in plate if event in film):
        seen = EVENT_SE_S[event]
        on_plate = math.hypot(plate[event].error_s, seen)
        on_film = math.hypot(film[event].error_s, seen, frame_se_s(fps))
        offset = plate[event].t_s - film[event].t_s
        found.append(Offset(offset, math.hypot(on_plate, on_film), "marked"))
    return found


def heard_offsets(strikes_s: Iterable[float], se_s: float, impact: Mark) -> list[Offset]:
    """The offset by each click that may be the strike, against the impact on the plate."""
    error = math.hypot(impact.error_s, EVENT_SE_S["impact"], se_s)
    return [Offset(impact.t_s - at, error, "heard") for at in strikes_s]


def landings_s(rise: HeelRise, foot: str, fps: float, before_s: float) -> list[float]:
    """When a heel that was lifted comes down at once, s on the clip's clock, before a moment of it.

    The way down is a straight line through the last pictures over 4 mm, followed to the floor.
    """
    mm = rise.of(foot)
    at = np.flatnonzero(np.isfinite(mm))
    at = at[(at + rise.first_frame) / fps < before_s]
    high = mm[at]
    found, down = [], 0
    for k in range(1, at.size):
        if not high[k] < DOWN_MM <= high[k - 1]:
            continue
        since = at[k] - at[down:k] <= LANDS_WITHIN_S * fps  # shaking about 4 mm is no second landing
        if high[down:k][since].max() < LIFTED_MM:
            continue
        down = k
        fall = 0.0 if k < 2 else (high[k - 2] - high[k - 1]) / (at[k - 1] - at[k - 2])
        on = at[k - 1] + high[k - 1] / fall if fall > 0.0 else math.inf
        found.append((min(max(on, at[k - 1]), at[k]) + rise.first_frame) / fps)
    return found


def stamps_s(load_n: FLOATS, rate_hz: float, before_s: float) -> list[float]:
    """When one foot's load jumps as by a stamp, s after the first sample, before a moment; NaN was no sample.

    A jump of over a quarter of the mean load of both feet within 25 ms; its start is where half of its
    steepest slope is passed.
    """
    both = np.nan_to_num(load_n)
    span = max(round(STAMP_RISE_S * rate_hz), 1)
    until = min(int(before_s * rate_hz), both.shape[1])
    least = STAMP_JUMP * float(both.sum(axis=0).mean())
    found: list[float] = []
    for foot in both:
        jump = foot[span:until] - foot[: max(until - span, 0)]
        k = 0
        while k < jump.size:
            if jump[k] > least:
                steps = np.diff(foot[k : k + 2 * span + 1])
                steepest = int(steps.argmax())
                first = steepest
                while first > 0 and steps[first - 1] > 0.5 * steps[steepest]:
                    first -= 1
                found.append((k + first) / rate_hz)
                k += round(LANDS_WITHIN_S * rate_hz)
            k += 1
    return sorted(found)


def stamp_offset(on_plate_s: Sequence[float], on_film_s: Sequence[float], fps: float) -> Offset | None:
    """The offset by stamps, as many on the plate as on the film and as far apart; None otherwise."""
    if not on_plate_s or len(on_plate_s) != len(on_film_s):
        return None
    error = math.hypot(STAMP_SE_S, frame_se_s(fps))
    return mean_offset(
        [Offset(p - f, error, "stamp") for p, f in zip(on_plate_s, sorted(on_film_s), strict=True)]
    )


def landings_of(rise: HeelRise, fps: float, before_s: float) -> list[float]:
    """The landings of both heels, in order."""
    return sorted(at for foot in FEET for at in landings_s(rise, foot, fps, before_s))


def run_through(known: Mapping[int, Offset], middle_s: Mapping[int, float]) -> dict[int, Offset]:
    """Offsets of all clips of a camera that ran through, by those of some.

    `middle_s` are the clips' middles on the camera's clock. Straight-line regression with the drift's prior;
    a clip's error is that of the line there. A mark that disagrees with the line by over four standard errors
    leaves nothing known.
    """
    if not known:
        return {}
    numbers = list(known)
    at = np.array([middle_s[no] for no in numbers])
    origin = float(at.mean())
    design = np.column_stack([np.ones(at.size), at - origin])
    weight = np.array([known[no].se_s ** -2.0 for no in numbers])
    precision = design.T @ (weight[:, None] * design) + np.diag([0.0, DRIFT_SE**-2.0])
    covariance = np.linalg.inv(precision)
    values = np.array([known[no].offset_s for no in numbers])
    first = float(values[0])
    line = covariance @ (design.T @ (weight * (values - first)))
    if np.any(np.abs(values - first - design @ line) > DISAGREE_SES * weight**-0.5):
        return {}
    source, made = known[numbers[0]].source, {}
    for no, middle in middle_s.items():
        here = np.array([1.0, middle - origin])
        made[no] = Offset(first + float(here @ line), math.sqrt(float(here @ covariance @ here)), source)
    return made
