"""Where the feet stand in a recording: which platform is lead, the foot axes, and the golfer's floor.

Golfer's floor: x toward the target, y toward the toes, about the recording's own origin, in mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from ingest.formats.c3d_file import LEAST_LOAD_N, Array, C3dFile, Platform, address_points, foot_markers
from ingest.refusals import refuse

Pair = tuple[Platform, Platform]  # lead and trail

FEET = (("lead", "heel"), ("lead", "toe"), ("trail", "heel"), ("trail", "toe"))
TOE_ON_THE_BALL = 0.85  # heel to toe marker under this part of the foot's length: the marker is on the ball
LEAST_FOOT_MM = 50.0
ROLL_PCT = 10.0
ALONG_WITHIN_PCT, ACROSS_WITHIN_MM = (-10.0, 110.0), 80.0


@dataclass(frozen=True)
class C3dSetup:
    """What is known of a recording beforehand: the hand, [stance], the foot's length and the lead platform.

    stance_mm: lead heel x, y, lead toe, trail heel, trail toe, mm on the golfer's floor. lead_platform counts
    from 1; None: found by the markers of the feet, else by [stance]. A foot is as long as its heel and toe
    marker are apart; when that is under 85 % of foot_length_mm, the toe marker is on the ball of the foot and
    foot_length_mm counts.
    """

    handed: str
    stance_mm: Sequence[float] | None = None
    foot_length_mm: float | None = None
    lead_platform: int | None = None

    @property
    def lead_side(self) -> str:
        """The side of the lead foot: left for a right-hander."""
        return "right" if self.handed.lower().startswith("l") else "left"


@dataclass(frozen=True)
class Stance:
    """Heel and toe of both feet, (4, 2) mm on the golfer's floor; the floor's axes (3, 2) in the recording.

    Rows: lead heel, lead toe, trail heel, trail toe. `lead` and `trail` are the platforms under the feet.
    """

    lead: Platform
    trail: Platform
    feet_mm: Array
    floor: Array

    def on_floor(self, points_mm: Array) -> Array:
        """Points (N, 3) of the recording as (N, 2) on the golfer's floor."""
        return np.asarray(points_mm @ self.floor)


def foot_frame(points: Array, heel: Array, toe: Array) -> tuple[Array, Array]:
    """Along (% of heel to toe) and across (mm, toward the target positive) of points (N, 2), each (N,)."""
    length = float(np.hypot(*(toe - heel)))
    axis = (toe - heel) / length
    side = np.array([axis[1], -axis[0]])
    side = side if side[0] >= 0 else -side
    return 100.0 * (points - heel) @ axis / length, (points - heel) @ side


def read_stance(
    recording: C3dFile, platforms: Sequence[Platform], setup: C3dSetup, address_s: float | None
) -> Stance:
    """Find which platform is under which foot, and the foot axes.

    Heel and toe markers of both feet come first, then the points of [stance]. Markers are taken at address:
    ±150 ms about a marked address, else the stillest 0.3 s of the first half. With markers, each foot goes
    with the platform whose middle is nearer; with [stance], the order of platforms counts under which both
    usual centres of pressure are under their feet. `lead_platform` (from 1) settles it beforehand.

    address_s is on the file's clock. The target line is the edge of the lead platform that runs most nearly
    from trail to lead foot.

    Raises
        Refused: no foot axis, a platform without load, or platforms that do not fit lead_platform or
            [stance].
    """
    pairs = _pairs(recording.file, platforms, setup.lead_platform)
    lead_side = setup.lead_side
    named = {"lead": lead_side, "trail": "left" if lead_side == "right" else "right"}
    seen = foot_markers(recording)
    tracks = [seen.get((side, part), seen.get((named[side], part))) for side, part in FEET]
    found = [track for track in tracks if track is not None]
    if len(found) == len(FEET):
        points = address_points(recording, np.stack(found), address_s)
        if np.isfinite(points).all():
            return _from_markers(recording.file, pairs, points, setup)
    stance = np.asarray(() if setup.stance_mm is None else setup.stance_mm, dtype=float)
    feet = stance.reshape(2, 2, 2) if stance.size == 2 * len(FEET) else np.zeros((2, 2, 2))
    if not (np.hypot(*(feet[:, 1] - feet[:, 0]).T) >= LEAST_FOOT_MM).all() or not np.isfinite(feet).all():
        labels = ", ".join(sorted(" ".join(foot) for foot in seen)) or "none"
        needed = f"heel and toe markers of both feet are needed (found: {labels})"
        what = f"there is no foot axis: {needed} or a [stance] in session.toml"
        todo = "add lead_heel, lead_toe, trail_heel and trail_toe under [stance]"
        raise refuse("no_foot_axis", what, todo, file=recording.file)
    return _from_stance(recording.file, pairs, stance, setup.lead_side)


def _pairs(file: str, platforms: Sequence[Platform], lead_platform: int | None) -> list[Pair]:
    """Possible (lead, trail) platforms: of more than two, those that carry most; both must carry load."""
    by_load = sorted(platforms, key=lambda platform: -float(np.nanmean(platform.load_n)))
    if lead_platform is not None:
        if not 1 <= lead_platform <= len(platforms):
            what = f"lead_platform = {lead_platform}, but the file holds platforms 1 to {len(platforms)}"
            todo = "correct lead_platform of the device in academy.toml"
            raise refuse("no_such_platform", what, todo, file=file)
        lead = platforms[lead_platform - 1]
        chosen = [lead, next(platform for platform in by_load if platform is not lead)]
    else:
        chosen = by_load[:2]
    _refuse_idle(file, chosen)
    return [(chosen[0], chosen[1])] if lead_platform is not None else list(permutations(chosen, 2))


def _refuse_idle(file: str, chosen: Sequence[Platform]) -> None:
    """Refuse a pair of platforms of which one never carries 5 % of the load of both."""
    weight = float(np.nanmedian(sum(platform.load_n for platform in chosen)))
    most = [float(np.nanpercentile(platform.load_n, 95)) for platform in chosen]
    idle = [k for k in (0, 1) if not most[k] >= max(0.05 * weight, 2 * LEAST_LOAD_N)]
    what = "no platform carries load"
    if len(idle) == 1:
        one, other = idle[0], 1 - idle[0]
        what = f"platform {chosen[one].number} never carries load (at most {most[one]:.0f} N nearly all "
        what += f"the time) while platform {chosen[other].number} carries {most[other]:.0f} N"
    if idle:
        what, todo = f"{what}, so the load of each foot is not known", "record with one foot on each platform"
        raise refuse("feet_not_found", what, todo, file=file)


def _from_markers(file: str, pairs: Sequence[Pair], points: Array, setup: C3dSetup) -> Stance:
    """Stance from the four markers (4, 3): each foot goes with the platform it stands on."""
    lead_mid, trail_mid = points[:2].mean(axis=0), points[2:].mean(axis=0)

    def apart(pair: Pair) -> float:
        ways = (pair[0].centre_mm - lead_mid, pair[1].centre_mm - trail_mid)
        return sum(float(np.hypot.reduce(way)) for way in ways)

    one, other = pairs[0], (pairs[0][1], pairs[0][0])
    lead, trail = min((one, other), key=apart)
    stated = setup.lead_platform
    if stated is not None and lead.number != stated:
        what = f"the lead foot's markers are on platform {lead.number} but lead_platform = {stated}"
        todo = "correct lead_platform in academy.toml, the student's handedness or the markers' names"
        raise refuse("lead_platform_contradicted", what, todo, file=file)
    x = _target_axis(lead, lead_mid - trail_mid)
    y = np.cross(lead.axes[:, 2], x)
    toes = (points[1] - points[0]) + (points[3] - points[2])
    floor = np.stack([x, y if toes @ y >= 0 else -y], axis=1)
    return Stance(lead, trail, _to_the_tips(points @ floor, setup.foot_length_mm), floor)


def _to_the_tips(feet: Array, foot_length_mm: float | None) -> Array:
    """Feet (4, 2) with toes at the tips: a marker on the ball is moved out to the foot's known length."""
    out = feet.copy()
    for heel, toe in ((0, 1), (2, 3)):
        length = float(np.hypot(*(feet[toe] - feet[heel])))
        if foot_length_mm is not None and 0 < length < TOE_ON_THE_BALL * foot_length_mm:
            out[toe] = feet[heel] + (feet[toe] - feet[heel]) * foot_length_mm / length
    return out


def _target_axis(lead: Platform, toward_lead: Array) -> Array:
    """The target line: the edge of the lead platform that runs most nearly from trail to lead foot."""
    edges = lead.axes[:, :2].T
    shares = edges @ toward_lead
    best = int(np.argmax(np.abs(shares)))
    return np.asarray(edges[best] * (1.0 if shares[best] >= 0 else -1.0))


def _from_stance(file: str, pairs: Sequence[Pair], stance_mm: Array, lead_side: str) -> Stance:
    """Stance from [stance], about the recording's origin, x along the platforms' edges toward the target.

    The toes' side follows from the hand: seen from above, a right-hander's toes are to the right of the
    target line. A recording may be written the other way about (its z down, or its floor mirrored), so that
    the load is under the feet's mirror image. Where both images fit one order of the platforms, the trail
    foot decides: in a swing it rolls onto its toes.
    """
    plain, mirrored = list[Stance](), list[Stance]()
    for lead, trail in pairs:
        x = _target_axis(lead, lead.centre_mm - trail.centre_mm)
        y = np.cross(x, _up(lead)) * (-1.0 if lead_side == "right" else 1.0)
        for image, side in ((plain, y), (mirrored, -y)):
            stance = Stance(lead, trail, stance_mm.reshape(4, 2), np.stack([x, side], axis=1))
            if _stands(stance):
                image.append(stance)
    fits = plain or mirrored
    if len(fits) == 1:
        other = next((stance for stance in mirrored if stance.lead is fits[0].lead), fits[0])
        return other if _toeward(fits[0]) < -ROLL_PCT else fits[0]
    if fits:
        what = "either platform could be under the lead foot"
        todo = "name it with lead_platform of the device in academy.toml"
        raise refuse("lead_platform_unknown", what, todo, file=file)
    what = "the load is not under the feet that [stance] gives"
    todo = "give [stance] in mm about the recording's origin, x toward the target and y toward the toes"
    raise refuse("stance_off_platforms", what, todo, file=file)


def _up(platform: Platform) -> Array:
    """The upright of the room: the platform's normal, toward the positive side of the room's nearest axis."""
    z = platform.axes[:, 2]
    return np.asarray(z * np.sign(z[np.argmax(np.abs(z))]))


def _toeward(stance: Stance) -> float:
    """How much farther the trail foot's load goes toward the toes than toward the heel, % of its length."""
    along, _ = foot_frame(stance.on_floor(stance.trail.seen), stance.feet_mm[2], stance.feet_mm[3])
    low, middle, high = np.percentile(along, [2, 50, 98])
    return float((high - middle) - (middle - low))


def _stands(stance: Stance) -> bool:
    """Whether each platform's usual centre of pressure is under its foot."""
    for platform, heel, toe in ((stance.lead, 0, 1), (stance.trail, 2, 3)):
        if not len(platform.seen):
            return False
        middle = stance.on_floor(np.median(platform.seen, axis=0)[None])
        along, across = foot_frame(middle, stance.feet_mm[heel], stance.feet_mm[toe])
        low, high = ALONG_WITHIN_PCT
        if not (low <= along[0] <= high and abs(across[0]) <= ACROSS_WITHIN_MM):
            return False
    return True
