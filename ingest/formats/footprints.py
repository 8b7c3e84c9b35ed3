"""Two feet in a grid of pressures: where each stands, its axis and length, and how it turns.

Everything here works on *prints*: pressure over rows × cols, kPa, row 0 at the heels, x growing with the
column toward the target, y growing with the row toward the toes, both in mm. A foot's axis joins the middle
of the heel and the middle of the forefoot; its length runs along it from the back of the heel to the tip
of the toes.
No published source: geometry of prints, checked against feet of known outline.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]

LEAST_FOOT_MM, MOST_FOOT_MM, WIDEST_FOOT_MM = 110.0, 380.0, 170.0
ONE_FOOT_ASPECT = 0.55  # a foot is 0.3 to 0.45 as wide as long; two feet side by side at least 0.65
STRAY_SHARE = 0.03  # a club set down, a ball: a blob apart from the feet that carries little
CUT_SLOPES_DEG = np.arange(-30.0, 31.0, 5.0)
TIP_SPAN_MM = 22.0  # the outline's tip is read from the points within this much of the farthest one
TIP_SLACK_MM = 3.0  # a parabola that lands farther off was bent by the sole's side
DEAD_NEIGHBOURS, DEAD_BLOCK = 6, 4


@dataclass(frozen=True)
class Foot:
    """One foot on the floor: back of the heel and tip of the toes, mm."""

    heel: tuple[float, float]
    toe: tuple[float, float]

    @property
    def length_mm(self) -> float:
        """Heel back to toe tip."""
        return math.hypot(self.toe[0] - self.heel[0], self.toe[1] - self.heel[1])

    @property
    def angle(self) -> float:
        """Direction of the axis, radians from straight ahead, positive toward the target."""
        return math.atan2(self.toe[0] - self.heel[0], self.toe[1] - self.heel[1])


class Plane:
    """Where each sensor of a grid is: `x`, `y` (rows × cols), mm; x is 0 in the middle of the grid."""

    def __init__(self, rows: int, cols: int, pitch_mm: float) -> None:
        self.pitch_mm = pitch_mm
        across = (np.arange(cols) - (cols - 1) / 2.0) * pitch_mm
        self.y, self.x = np.meshgrid((np.arange(rows) + 0.5) * pitch_mm, across, indexing="ij")

    def steps(self, distance_mm: float) -> int:
        """A distance in whole sensors, at least one."""
        return max(1, round(distance_mm / self.pitch_mm))

    def heel_weights(self, foot: Foot) -> Floats:
        """How much of each sensor is under the rear third of the foot, 0 to 1 (rows × cols)."""
        sine, cosine = math.sin(foot.angle), math.cos(foot.angle)
        along = (self.x - foot.heel[0]) * sine + (self.y - foot.heel[1]) * cosine
        span = self.pitch_mm * (abs(sine) + abs(cosine))
        weights: Floats = np.clip((foot.length_mm / 3.0 - along) / span + 0.5, 0.0, 1.0)
        return weights


def noise_floor(print_kpa: Floats) -> float:
    """Pressure below which a print shows nothing: over the unloaded sensors' own, 1 % of a firm one at least.

    At least a fifth of the sensors are clear of both feet, so the 20th percentile is an unloaded one.
    """
    firm = float(np.quantile(print_kpa, 0.98))
    return max(2.5 * float(np.quantile(print_kpa, 0.2)), 0.01 * firm)


def loaded(print_kpa: Floats, plane: Plane) -> Marks:
    """Sensors that carry a foot: over the noise, and no stray blob away from the feet."""
    firm = float(np.quantile(print_kpa, 0.98))
    marks: Marks = print_kpa > max(0.04 * firm, 1.5 * noise_floor(print_kpa))
    reach = ndimage.binary_dilation(marks, np.ones((3, 3), dtype=bool), iterations=plane.steps(15.0))
    groups, count = ndimage.label(reach)
    weight = ndimage.sum_labels(np.where(marks, print_kpa, 0.0), groups, np.arange(1, count + 1))
    kept = 1 + np.flatnonzero(weight >= STRAY_SHARE * np.sum(weight))
    return marks & np.isin(groups, kept)


def split(print_kpa: Floats, marks: Marks, plane: Plane) -> Marks | None:
    """Divide the grid between two feet: True (rows × cols) on the target's side of the dividing line.

    Idea: feet are divided by the straight line that crosses the least pressure. It may lean, from −30° to 30°
    in steps of 5°, so that feet that touch at the heels or the toes come apart. For each lean θ the load is
    summed along u = x·cos θ − y·sin θ, and the line is put in the deepest valley of that profile
    (`_valley`). The lean with the least depth + |ln(length of one print / length of the other)| wins, since
    two feet are about as long; then the widest gap, then the most upright line.

    print_kpa, marks: (rows, cols), pressure and the sensors that carry a foot. None when there are no two
    feet: no lean has a valley, or the print is as slim as one foot.
    """
    if not marks.any():
        return None
    x, y, weight = plane.x[marks], plane.y[marks], print_kpa[marks]
    best: tuple[float, float, float] | None = None
    slimmest = np.inf
    for slope in np.radians(CUT_SLOPES_DEG):
        u = x * np.cos(slope) - y * np.sin(slope)
        v = x * np.sin(slope) + y * np.cos(slope)
        slimmest = min(slimmest, (np.ptp(u) + plane.pitch_mm) / (np.ptp(v) + plane.pitch_mm))
        valley = _valley(u, weight, plane.pitch_mm)
        if valley is None:
            continue
        depth, gap, at = valley
        uneven = abs(math.log(_longest(x[u > at], y[u > at]) / _longest(x[u <= at], y[u <= at])))
        if best is None or (depth + uneven, -gap, abs(slope)) < best:
            best = (depth + uneven, -gap, abs(slope))
            cut: Marks = plane.x * np.cos(slope) - plane.y * np.sin(slope) > at
    return None if best is None or slimmest < ONE_FOOT_ASPECT else cut


def _longest(x: Floats, y: Floats) -> float:
    """Extent of a print along its longer side, mm."""
    if x.size < 3:
        return 1.0
    way = _main_direction(x, y)
    return max(1.0, float(np.ptp(x * way[0] + y * way[1])))


def _valley(u: Floats, weight: Floats, pitch_mm: float) -> tuple[float, float, float] | None:
    """Deepest valley of a load profile: its depth (0: no load at all), the width of the gap, its place in mm.

    u: (n,) mm, weight: (n,) kPa. The profile is the load in bins of a quarter pitch, smoothed by one pitch
    (σ = 4 bins). Only places with 12 to 88 % of the load to their left count. Depth is the profile over the
    lower of the two peaks on either side of it; None where no depth is 0.8 or less.
    """
    fine = pitch_mm / 4.0
    low = float(u.min()) - 4.0 * pitch_mm
    density = np.bincount(((u - low) / fine).astype(np.int64), weight)
    density = ndimage.gaussian_filter1d(np.append(density, np.zeros(16)), 4.0, mode="constant")
    share = np.cumsum(density) / np.sum(density)
    inside = np.flatnonzero((share > 0.12) & (share < 0.88))
    if inside.size < 3:
        return None
    sides = np.minimum(np.maximum.accumulate(density), np.maximum.accumulate(density[::-1])[::-1])
    depth = density[inside] / sides[inside]
    least = float(depth.min())
    if least > 0.8:
        return None
    level = max(1e-3, 1.02 * least)
    runs, count = ndimage.label(depth <= level)
    widths = ndimage.sum_labels(np.ones(depth.size), runs, np.arange(1, count + 1))
    widest = 1 + int(np.argmax(widths))
    place = float(np.mean(inside[runs == widest]))
    free = least <= 1e-3
    return (0.0 if free else least), (float(widths.max()) if free else 0.0), low + (place + 0.5) * fine


def measure(print_kpa: Floats, marks: Marks, plane: Plane, floor_kpa: float) -> Foot | None:
    """Axis and length of the one foot under `marks`; None when the print is no whole foot.

    The axis starts as the main direction of the print and is then drawn three times through the middles of
    the heel (5 to 30 % of the print along it) and of the forefoot (60 to 85 %), which a print that is wider
    on one side would otherwise turn. Heel and toe are the farthest points of the outline along the axis, each
    to a fraction of a sensor (`_outline`, `_tip`).

    print_kpa, marks: (rows, cols); floor_kpa: the noise floor of the print. A foot is 110 to 380 mm long, at
    most 170 mm wide and points forward.
    """
    if np.count_nonzero(marks) < 12:
        return None
    x, y = plane.x[marks], plane.y[marks]
    centre = np.array([x.mean(), y.mean()])
    axis = _main_direction(x - centre[0], y - centre[1])
    for _ in range(3):
        along = (x - centre[0]) * axis[0] + (y - centre[1]) * axis[1]
        low, span = along.min(), np.ptp(along)
        rear = (along > low + 0.05 * span) & (along < low + 0.3 * span)
        fore = (along > low + 0.6 * span) & (along < low + 0.85 * span)
        if rear.sum() < 3 or fore.sum() < 3:
            return None
        back = np.array([x[rear].mean(), y[rear].mean()])
        way = np.array([x[fore].mean(), y[fore].mean()]) - back
        axis, centre = way / np.hypot(*way), back
    heel_end, toe_end = _outline(print_kpa, marks, plane, floor_kpa)
    heel, toe = -_tip(heel_end, centre, -axis), _tip(toe_end, centre, axis)
    side = np.abs((x - centre[0]) * axis[1] - (y - centre[1]) * axis[0]).max()
    if not (LEAST_FOOT_MM <= toe - heel <= MOST_FOOT_MM and 2.0 * side <= WIDEST_FOOT_MM and axis[1] > 0.3):
        return None
    ends = centre + np.outer([heel, toe], axis)
    return Foot((float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1])))


def _main_direction(x: Floats, y: Floats) -> Floats:
    """Unit vector along the longer side of a cloud of points, heel to toe."""
    dx, dy = x - x.mean(), y - y.mean()
    half = 0.5 * math.atan2(2.0 * float(dx @ dy), float(dy @ dy - dx @ dx))
    return np.array([math.sin(half), math.cos(half)])


def _outline(print_kpa: Floats, marks: Marks, plane: Plane, floor_kpa: float) -> tuple[Floats, Floats]:
    """Points (n, 2) where the print begins and ends in each column, to a fraction of a sensor."""
    near = ndimage.binary_dilation(marks, np.ones((3, 3), dtype=bool))
    shown = np.where(near & (print_kpa > floor_kpa), print_kpa, 0.0)
    columns = np.flatnonzero(np.count_nonzero(shown[:-1] * shown[1:], axis=0) >= 2)
    across = plane.x[0, columns]
    ends = []
    for turned in (shown, shown[::-1]):
        first = np.argmax(turned[:, columns] > 0, axis=0)
        covered = covered_part(*(turned[np.minimum(first + k, len(turned) - 1), columns] for k in range(3)))
        ends.append((first + 1.0 - covered) * plane.pitch_mm)
    far = len(shown) * plane.pitch_mm - ends[1]
    return np.column_stack([across, ends[0]]), np.column_stack([across, far])


def covered_part(outer: Floats, second: Floats, third: Floats) -> Floats:
    """How far the foot reaches into its outermost sensor, 0 to 1, from three sensors' pressures inward.

    The pressure under the sole is taken as a straight line there, a + b·s at depth s within the edge, so the
    sensors read a·f + b·f²/2, a + b·(f + ½) and a + b·(f + 1½): f = 2·outer / (q + √(q² − 2·b·outer)) with
    b = third − second and q = second − b/2. A hard edge (b = 0) gives outer / second.
    """
    slope = np.clip(third - second, -second, 1.9 * second)
    q = second - slope / 2.0
    root = np.sqrt(np.maximum(q * q - 2.0 * slope * outer, 0.0))
    return np.clip(2.0 * outer / np.maximum(q + root, 1e-12), 0.0, 1.0)


def _tip(points: Floats, centre: Floats, axis: Floats) -> float:
    """Farthest reach of outline points along the axis: a parabola through those about the farthest one."""
    if len(points) == 0:
        return 0.0
    reach = (points - centre) @ axis
    side = (points - centre) @ np.array([axis[1], -axis[0]])
    top = reach.max()
    side -= side[reach >= top - 1.0].mean()
    near = np.abs(side) <= TIP_SPAN_MM
    if np.count_nonzero(near) < 4:
        return float(top)
    bend, tilt, flat = np.polyfit(side[near], reach[near], 2)
    peak = flat - tilt * tilt / (4.0 * bend) if bend < 0 else top
    return float(np.clip(peak, top - TIP_SLACK_MM, top + TIP_SLACK_MM))


def dead_inside(silent: Marks, marks: Marks) -> Marks:
    """Sensors that never showed anything though a foot stood on them.

    Six of eight neighbours carry the same foot (a lone sensor, a line of them), or the foot closes round a
    gap of four sensors or fewer. At the edge of a print a dead sensor can't be distinguished from the floor.
    """
    around = ndimage.convolve(marks.astype(np.int64), np.ones((3, 3), dtype=np.int64), mode="constant")
    inside = silent & ~marks & (around >= DEAD_NEIGHBOURS)
    gaps, count = ndimage.label(ndimage.binary_fill_holes(marks) & ~marks)
    sizes = ndimage.sum_labels(np.ones(marks.shape), gaps, np.arange(1, count + 1))
    small = np.isin(gaps, 1 + np.flatnonzero(sizes <= DEAD_BLOCK))
    return np.asarray(inside | (small & silent), dtype=np.bool_)


def fill(pressure: NDArray[np.floating], bad: Marks) -> None:
    """Fill each bad sensor, in place, from its sound neighbours; `pressure` is (n, rows, cols).

    Each pair of opposite neighbours gives the root of their product, so that nothing spreads past the edge of
    a sole, and the highest is used, which runs along such an edge. Without a sound pair it is the mean of the
    sound ones.
    """
    rows, cols = bad.shape
    for row, col in np.argwhere(bad):
        sound = {
            (i, j): np.maximum(pressure[:, row + i, col + j], 0.0)
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            if 0 <= row + i < rows and 0 <= col + j < cols and not bad[row + i, col + j]
        }
        half = [(i, j) for i, j in sound if (i, j) > (0, 0) and (-i, -j) in sound]
        pairs = [np.sqrt(sound[i, j] * sound[-i, -j]) for i, j in half]
        if pairs:
            pressure[:, row, col] = np.max(pairs, axis=0)
        else:
            pressure[:, row, col] = np.mean(list(sound.values()), axis=0) if sound else 0.0
