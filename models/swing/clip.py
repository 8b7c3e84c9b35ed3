"""Heel rise from the marked points of a foot-level clip.

Rise (mm) = height of the heel point over its own height at address, square to the floor line; the floor line
is fitted through the four points at address. Image rows count downward, so up is toward smaller y_px.

Scale, in this order, with the relative standard error that is stored with it (`SCALE_SE_PCT`, common
practice, no source):

- `stated`, 3 %: `[clip] mm_per_px`, one scale for both feet.
- `shoe`, 4 %: from the side (`down_line`) a shoe is seen at its full length but for the turn of the foot:
  shoe length in mm over heel–toe pixels at address, each foot by its own, as the far foot is smaller.
- `stance`, 5 %: from the front (`face_on`) a shoe is seen end on, so heel to heel in mm over heel to heel in
  pixels.
- `foot`, 6 %: as `shoe`, where only the student's foot is known: its length and 25 mm for the shoe.
- `shoe_width`, 8 %: from the front without a stance, by the shoe's width in mm over its width in pixels. Four
  points of heels and toes do not show a width. A film does, where its shoes stand out from the floor: it
  is measured at address when `[clip] shoe_width_mm` is given, and kept with the film's tracks.
- `shoe_end_on`, 100 %: from the front without any of these the shoe's seen length is used as it is, which
  makes rises too large by as much as the shoe points at the camera, twice or three times: good for their
  shape and order, and no metric.
- `unknown`: nothing says how large a pixel is. Then no rise is known in mm; to say whether a heel is up or
  down, shoes are taken to be 300 mm long, or from the front heels to be 400 mm apart, give or
  take 25 %.

Points of no more frames than there are key moments were tapped by hand, not followed: no jump is looked for,
and a heel is seen against its own toe where that was tapped too, so that a camera that moved does not count.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from warehouse.vocabulary import EVENTS, FEET, POINTS, SHOE_OVER_FOOT_MM

FLOATS = NDArray[np.float64]
LEAST_SCORE = 0.5
LONGEST_GAP = 5  # frames that a straight line may bridge
JUMP_MADS, LEAST_MAD_PX = 5.0, 1.0
MEDIAN_FRAMES = 5
ON_FRAME = 0.1  # of a frame: times are written with four digits
ADDRESS_HALF_S = 0.150
SCALE_SE_PCT = {
    "stated": 3.0, "shoe": 4.0, "stance": 5.0, "foot": 6.0, "shoe_width": 8.0, "shoe_end_on": 100.0,
}  # fmt: skip
UNKNOWN, UNKNOWN_SE_PCT = "unknown", 25.0
USUAL_SHOE_MM, USUAL_HEELS_APART_MM = 300.0, 400.0
TAPPED_SE_PX, FOLLOWED_SE_PX = 3.0, 1.0  # of one point, across the floor; common practice, no source
SUNK_MM, SUNK_SES, SUNK_SHARE = 12.0, 2.5, 0.04
UP_MM = 15.0  # a heel seen higher than this carries nothing


@dataclass(frozen=True)
class Clip:
    """A session's clip: rows of academy.clip_point, `[clip]` of its session.toml, the foot filmed."""

    points: pl.DataFrame
    fps: float
    shoe_length_mm: float | None
    view: str
    mm_per_px: float | None = None
    shoe_width_mm: float | None = None
    shoe_width_px: Mapping[int, float] = field(default_factory=dict)  # by swing_no, where its film shows it
    foot_length_mm: float | None = None
    stamped: bool = False  # a heel is stamped before set-up
    runs_through: bool = False  # all swings are on one clock of the camera

    @property
    def shoe(self) -> tuple[float, str]:
        """The shoe's length from the side, mm, and what it is known from."""
        if self.shoe_length_mm is not None:
            return self.shoe_length_mm, "shoe"
        if self.foot_length_mm is not None:
            return self.foot_length_mm + SHOE_OVER_FOOT_MM, "foot"
        return USUAL_SHOE_MM, UNKNOWN


@dataclass(frozen=True)
class HeelRise:
    """Rise of both heels of one swing, mm, one value a frame (NaN: not seen)."""

    first_frame: int
    lead_mm: FLOATS  # (F,)
    trail_mm: FLOATS  # (F,)
    scale: str  # of SCALE_SE_PCT, or UNKNOWN: then mm are by usual sizes
    point_se_mm: float  # of a rise, from its points alone

    @property
    def in_mm(self) -> bool:
        """Whether the heights are true ones."""
        return self.scale not in ("shoe_end_on", UNKNOWN)

    @property
    def impossible(self) -> bool:
        """Whether a heel is seen well under the floor: an upside-down film, a camera that moved, lost marks.

        The lowest 4 % of a foot's heights are under −(12 mm + 2.5 standard errors of a point); common
        practice, no source.
        """
        least = -(SUNK_MM + SUNK_SES * self.point_se_mm)
        seen = [heel_mm[np.isfinite(heel_mm)] for heel_mm in (self.lead_mm, self.trail_mm)]
        return any(bool(np.quantile(one, SUNK_SHARE) < least) for one in seen if one.size)

    def of(self, foot: str) -> FLOATS:
        """(F,) rise of one foot's heel."""
        return self.lead_mm if foot == "lead" else self.trail_mm

    def at(self, foot: str, t_s: float, fps: float) -> float:
        """Rise at a time on the clip's clock, by a straight line between frames; NaN where not seen."""
        heel_mm = self.of(foot)
        frame = t_s * fps - self.first_frame
        nearest = min(max(round(frame), 0), heel_mm.size - 1)
        if 0.0 <= frame <= heel_mm.size - 1:
            found = float(np.interp(frame, np.arange(heel_mm.size), heel_mm))
            if math.isfinite(found):
                return found
        return float(heel_mm[nearest]) if abs(frame - nearest) <= ON_FRAME else math.nan

    def heel_rows(self, events_s: Mapping[str, float], fps: float) -> list[dict[str, Any]]:
        """Rows of academy.heel_seen without session and swing: each heel at events on the clip's clock.

        A heel is up where its rise is over 15 mm, and down where it is under, by more than its standard
        error; nearer to 15 mm nothing is said, and there is no row.
        """
        rows = []
        for event, foot in product((event for event in EVENTS if event in events_s), FEET):
            rise_mm = self.at(foot, events_s[event], fps)
            of_scale = SCALE_SE_PCT.get(self.scale, UNKNOWN_SE_PCT) / 100.0 * rise_mm
            error_mm = math.hypot(of_scale, self.point_se_mm)
            if abs(rise_mm - UP_MM) > error_mm:
                rows.append(
                    {"event": event, "t_s": events_s[event], "foot": foot, "up": rise_mm > UP_MM,
                     "source": "points", "rise_mm": rise_mm if self.in_mm else None,
                     "rise_se_mm": error_mm if self.in_mm else None}
                )  # fmt: skip
        return rows


def heel_rise(
    points: pl.DataFrame,
    clip: Clip,
    address_s: float | None,
    stance_mm: Sequence[float] | None,
    *,
    against_toes: bool = False,
) -> HeelRise | None:
    """Heel rise of one swing from its rows of `points`; None when address or its four points are not seen.

    `against_toes`: over the toe of its own foot, wherever the camera went; a height that wavers more.
    """
    if address_s is None or points.is_empty():
        return None
    first, last = int(points["frame"].min()), int(points["frame"].max())  # type: ignore[arg-type]
    frames = np.arange(first, last + 1)
    quiet = np.abs(frames / clip.fps - address_s) <= ADDRESS_HALF_S + 1e-9
    tapped = points["frame"].n_unique() <= len(EVENTS)
    if tapped:
        quiet = np.abs(frames - address_s * clip.fps) <= ON_FRAME
    seen = {
        name: _clean(points.filter(pl.col("point") == name), first, frames.size, tapped=tapped)
        for name in POINTS
    }
    at_address = {name: _mean_place(places[:, quiet]) for name, places in seen.items()}
    if not quiet.any() or any(place is None for place in at_address.values()):
        return None
    rest = {name: place for name, place in at_address.items() if place is not None}
    up = _floor_normal(np.array(list(rest.values())))
    scales, scale = _scales(rest, clip, clip.shoe_width_px.get(int(points["swing_no"][0])), stance_mm)
    moved = {name: places - rest[name][:, None] for name, places in seen.items()}
    for foot in FEET if tapped or against_toes else ():
        toe = moved[f"{foot}_toe"]
        if not tapped:
            known = np.flatnonzero(np.isfinite(toe[0]))
            toe = np.array([np.interp(np.arange(frames.size), known, line[known]) for line in toe])
        moved[f"{foot}_heel"] -= np.nan_to_num(toe)
    rises = {foot: scales[foot] * (up @ moved[f"{foot}_heel"]) for foot in FEET}
    se_px = math.sqrt(2.0) * (2.0 * TAPPED_SE_PX if tapped else FOLLOWED_SE_PX)  # differences of two points
    return HeelRise(first, rises["lead"], rises["trail"], scale, se_px * max(scales.values()))


def stillest_s(points: pl.DataFrame, fps: float) -> float | None:
    """Middle of the stillest 0.3 s in the first half of a swing's clip, s; None when no point is seen there.

    Stands for address where nobody marked it on the clip.
    """
    if points.is_empty():
        return None
    first, last = int(points["frame"].min()), int(points["frame"].max())  # type: ignore[arg-type]
    count, width = last - first + 1, max(round(2 * ADDRESS_HALF_S * fps), 2)
    if count < 2 * width:
        return None
    moved = np.zeros(count // 2 + width)
    for name in POINTS:
        places = _clean(points.filter(pl.col("point") == name), first, count, tapped=False)
        windows = np.lib.stride_tricks.sliding_window_view(places[:, : moved.size + width - 1], width, axis=1)
        moved = moved[: windows.shape[1]] + windows.var(axis=2).sum(axis=0)[: moved.size]
    known = np.isfinite(moved)
    if not known.any():
        return None
    return (first + int(np.nanargmin(moved)) + width / 2) / fps


def _clean(rows: pl.DataFrame, first: int, count: int, *, tapped: bool) -> FLOATS:
    """(2, F) places of one point with poor, jumping and lost frames bridged or NaN.

    Those that were `tapped` stay as they are: between two taps a heel may have moved far.
    """
    places = np.full((2, count), np.nan)
    good = rows.filter(pl.col("score").fill_null(1.0) >= LEAST_SCORE)
    places[:, good["frame"].to_numpy() - first] = good.select("x_px", "y_px").to_numpy().T
    known = np.isfinite(places).all(axis=0)
    if tapped:
        return places
    for line in places:
        known &= ~_jumps(line, known)
    places[:, ~known] = np.nan
    _bridge_short(places, known)
    return places


def _jumps(line: FLOATS, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Known frames further than 5 MAD from the running median of 5 frames.

    MAD is the median distance of all known frames from that median, at least a pixel: taken within the window
    it would be a guess from 5 values. Windows are mirrored at the ends without the end frame itself, which
    would otherwise be its own majority. On the point-file study, scale 1.48, windows of 7 or 11 frames and a
    MAD of each window change the rise by under 0.05 mm RMS.
    """
    if known.sum() < MEDIAN_FRAMES:
        return np.zeros(line.size, dtype=bool)
    values = line[known]
    padded = np.pad(values, MEDIAN_FRAMES // 2, mode="reflect")
    off = np.abs(values - np.median(np.lib.stride_tricks.sliding_window_view(padded, MEDIAN_FRAMES), axis=1))
    found = np.zeros(line.size, dtype=bool)
    found[known] = off > JUMP_MADS * max(float(np.median(off)), LEAST_MAD_PX)
    return found


def _bridge_short(places: FLOATS, known: NDArray[np.bool_]) -> None:
    """Draw, in place, straight lines through gaps of up to 5 frames between known ones."""
    for before, after in pairwise(np.flatnonzero(known)):
        gap = np.arange(before + 1, after)
        if 0 < gap.size <= LONGEST_GAP:
            for line in places:
                line[gap] = np.interp(gap, [before, after], [line[before], line[after]])


def _mean_place(places: FLOATS) -> FLOATS | None:
    """Mean of the known places (2, F), or None without one."""
    known = np.isfinite(places).all(axis=0)
    return np.asarray(places[:, known].mean(axis=1)) if known.any() else None


def _floor_normal(places: FLOATS) -> FLOATS:
    """Unit vector up from the floor line fitted through (4, 2) places; straight up if they have no width."""
    x = places[:, 0] - places[:, 0].mean()
    spread = float(x @ x)
    slope = float(x @ places[:, 1]) / spread if spread > 0.0 else 0.0
    return np.array([slope, -1.0]) / math.hypot(slope, 1.0)


def _scales(
    rest: Mapping[str, FLOATS], clip: Clip, width_px: float | None, stance_mm: Sequence[float] | None
) -> tuple[dict[str, float], str]:
    """Millimetres a pixel for each foot, and where the scale is from."""
    if clip.mm_per_px is not None:
        return dict.fromkeys(FEET, clip.mm_per_px), "stated"
    apart_px = float(np.hypot(*(rest["lead_heel"] - rest["trail_heel"])))
    if clip.view == "face_on" and stance_mm is not None:
        between = math.hypot(stance_mm[0] - stance_mm[4], stance_mm[1] - stance_mm[5])
        if between > 0.0 and apart_px > 0.0:
            return dict.fromkeys(FEET, between / apart_px), "stance"
    if clip.view == "face_on" and clip.shoe_width_mm and width_px:
        return dict.fromkeys(FEET, clip.shoe_width_mm / width_px), "shoe_width"
    if clip.view == "face_on" and clip.shoe_length_mm is None:
        scale = USUAL_HEELS_APART_MM / apart_px if apart_px > 0.0 else math.nan
        return dict.fromkeys(FEET, scale), UNKNOWN
    length_mm, known_from = clip.shoe
    scales = {}
    for foot in FEET:
        pixels = float(np.hypot(*(rest[f"{foot}_heel"] - rest[f"{foot}_toe"])))
        scales[foot] = length_mm / pixels if pixels > 0.0 else math.nan
    return scales, "shoe_end_on" if clip.view == "face_on" else known_from
