"""The stance of one swing on a grid: both feet at address, and how each print turns as the swing goes on.

A swing is looked at in short bins of frames, (bins, rows, cols) in kPa, which quiets the sensors' noise. The
address print of a foot is taken from the bins in which it has not moved yet; a foot that only rolls up
onto its toes keeps that print's axis and length, a foot whose whole print turns is followed with
its length kept.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ingest.formats.footprints import Floats, Foot, Marks, Plane, loaded, measure, noise_floor, split

FIRST_PART = 0.4  # of the swing: address and backswing, in which feet stand
BUSY_SHARE = 0.3  # of the highest total: below, nobody stands on the grid yet, or any more
STAYS_SHARE = 0.04  # of a foot's load may be outside its address print before it counts as moved
OUTSIDE_MM = 12.0
LIGHT_SHARE = 0.08  # of the swing's usual total: a lighter foot's print does not show where it is
SAME_LENGTH = 0.08  # a turned whole print is as long as the address print, within this share
LEAST_TURN, LEAST_SHIFT_MM = np.radians(4.0), 10.0
# A sole that ends in its outermost sensors loads them less than the next ones, and along a short way only.
CUT_OFF_RATIO, CUT_OFF_PART = 0.7, 0.45


@dataclass(frozen=True)
class Standing:
    """One foot of a swing: its address print, the sensors it may load, and its pose bin by bin.

    `heel` (bins, 2) mm and `angle` (bins,) rad follow a turning foot; `moved` (bins,) marks where they differ
    from the address.
    """

    foot: Foot
    region: Marks
    heel: Floats
    angle: Floats
    moved: NDArray[np.bool_]

    def pose(self, k: int) -> Foot:
        """The foot as it is in bin k."""
        x, y = float(self.heel[k, 0]), float(self.heel[k, 1])
        reach_x, reach_y = np.sin(self.angle[k]), np.cos(self.angle[k])
        length = self.foot.length_mm
        return Foot((x, y), (x + length * float(reach_x), y + length * float(reach_y)))


def find_side(bins: Floats, plane: Plane) -> Marks | None:
    """The part of the grid on the target's side of the feet's dividing line; None without two feet."""
    union = bins.max(axis=0)
    return split(union, loaded(union, plane), plane)


def find_stance(bins: Floats, side: Marks, plane: Plane) -> tuple[Standing, Standing] | None:
    """Lead and trail foot of a swing; None without two whole feet.

    bins: (bins, rows, cols) kPa, means of some 40 ms each; side: `find_side` of them. Each foot may load the
    sensors within 8 mm of its own print that are nearer to it than to the other's. Feet are measured on the
    peak print of the first 40 % of the busy bins, and only from bins in which at most 4 % of the foot's load
    is outside its address print.
    """
    union = bins.max(axis=0)
    marks = loaded(union, plane)
    both = (marks & side, marks & ~side)
    floor = noise_floor(union)
    wide = [ndimage.binary_dilation(m, np.ones((3, 3), dtype=bool), plane.steps(8.0)) for m in both]
    total = bins[:, wide[0] | wide[1]].sum(axis=1)
    busy = total > BUSY_SHARE * total.max()
    usual = float(np.median(total[busy]))
    first = bins[busy][: max(3, round(FIRST_PART * np.count_nonzero(busy)))].max(axis=0)
    found = []
    for own, other, reach in zip(both, both[::-1], wide, strict=True):
        region = reach & ~other & _nearer(own, other)
        standing = _standing(bins, first, own, region, plane, floor, usual)
        if standing is None or _cut_off(union, own, standing.foot, plane):
            return None
        found.append(standing)
    return found[0], found[1]


def _nearer(own: Marks, other: Marks) -> Marks:
    """Sensors nearer to one foot's print than to the other's, so that none is counted twice."""
    to_own, to_other = (np.asarray(ndimage.distance_transform_edt(~m)) for m in (own, other))
    nearer: Marks = to_own < to_other
    return nearer


def _standing(
    bins: Floats, first: Floats, own: Marks, region: Marks, plane: Plane, floor: float, usual: float
) -> Standing | None:
    """One foot of a swing; `first` is the peak print of the swing's first part, in which feet stand."""
    level = 0.04 * float(np.quantile(first[own], 0.9))
    base = own & (first > max(level, floor))
    near = ndimage.binary_dilation(base, np.ones((3, 3), dtype=bool), plane.steps(OUTSIDE_MM))
    seen = np.where(bins > floor, bins, 0.0)
    load = seen[:, region].sum(axis=1)
    outside = seen[:, region & ~near].sum(axis=1)
    heavy = load > LIGHT_SHARE * usual
    stays = outside <= STAYS_SHARE * load
    if not (heavy & stays).any():
        return None
    address = bins[heavy & stays].max(axis=0)
    foot = measure(address, own & near & (address > max(level, floor)), plane, floor)
    if foot is None:
        return None
    heel, angle, moved = _follow(bins, region, foot, heavy & ~stays, plane, floor)
    return Standing(foot, region, heel, angle, moved)


def _follow(
    bins: Floats, region: Marks, foot: Foot, away: NDArray[np.bool_], plane: Plane, floor: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Heel, angle and moved mark of each bin: whole prints away from the address print are measured anew.

    A bin away from it without a whole print (only the toes, say) keeps the pose before it.
    """
    heel = np.tile(np.asarray(foot.heel), (len(bins), 1))
    angle = np.full(len(bins), foot.angle)
    moved = np.zeros(len(bins), dtype=np.bool_)
    for k in np.flatnonzero(away):
        print_kpa = bins[k]
        marks = region & (print_kpa > max(0.04 * float(np.quantile(print_kpa[region], 0.9)), floor))
        now = measure(print_kpa, marks, plane, floor)
        if now is not None and abs(now.length_mm / foot.length_mm - 1.0) <= SAME_LENGTH:
            shift = np.hypot(now.heel[0] - foot.heel[0], now.heel[1] - foot.heel[1])
            if abs(now.angle - foot.angle) >= LEAST_TURN or shift >= LEAST_SHIFT_MM:
                heel[k], angle[k], moved[k] = now.heel, now.angle, True
        elif k > 0:
            heel[k], angle[k], moved[k] = heel[k - 1], angle[k - 1], moved[k - 1]
    return heel, angle, moved


def _cut_off(union: Floats, own: Marks, foot: Foot, plane: Plane) -> bool:
    """Whether the foot runs over the edge of the grid, where part of its load is not seen."""
    end = len(union) * plane.pitch_mm
    if foot.heel[1] < 0.02 * plane.pitch_mm or foot.toe[1] > end - 0.02 * plane.pitch_mm:
        return True
    most = CUT_OFF_PART * foot.length_mm / plane.pitch_mm
    for edge, inner in ((0, 1), (-1, -2)):
        on_edge = own[:, edge] & own[:, inner]
        firm = union[on_edge, edge].sum() > CUT_OFF_RATIO * union[on_edge, inner].sum()
        if on_edge.sum() > most or (on_edge.sum() >= 3 and firm):
            return True
    return False
