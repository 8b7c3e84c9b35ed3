"""Heel and toe markers of a C3D recording: which labels they are, and where they stand at address."""

import re

import numpy as np
from numpy.typing import NDArray

from ingest.formats.c3d_file import MM_PER, C3dFile

Array = NDArray[np.float64]
Foot = tuple[str, str]

PLAIN = re.compile(r"(?P<before>[lr])?(?:heel|hee|calcaneus|toes?|toetip|hallux)(?P<after>[lr])?")
SIDES = {"l": "left", "r": "right"}
STILL_S = 0.3


def foot_markers(recording: C3dFile) -> dict[Foot, Array]:
    """Heel and toe markers by (side, part), each (T, 3) in mm; the plainest label wins a place."""
    unit = "".join(recording.texts.get("POINT.UNITS", ["mm"])[:1]).strip().lower()
    best: dict[Foot, tuple[int, int]] = {}
    for column, label in enumerate(recording.point_labels[: recording.points.shape[1]]):
        foot = marker_place(label)
        if foot is not None and np.isfinite(recording.points[:, column]).any():
            best[foot] = min(best.get(foot, (len(label), column)), (len(label), column))
    return {foot: recording.points[:, column].T * MM_PER.get(unit, 1.0) for foot, (_, column) in best.items()}


def marker_place(label: str) -> Foot | None:
    """Which point of which foot a label names: LHEE, "right toe", "Heel_Lead", "S1:L.Toe". Else None."""
    name = "".join(re.findall(r"[a-z]+", label.rsplit(":", 1)[-1].lower()))
    sides = [side for side in ("left", "right", "lead", "trail") if side in name]
    plain = PLAIN.fullmatch(name)
    if plain is not None and not sides:
        sides = [SIDES[letter] for letter in (plain["before"], plain["after"]) if letter]
    parts = ["heel" for word in ("heel", "hee", "calcaneus") if word in name][:1]
    parts += ["toe" for word in ("toe", "hallux") if word in name][:1]
    if len(sides) != 1 or len(parts) != 1 or "club" in name:
        return None
    return sides[0], parts[0]


def address_points(recording: C3dFile, tracks: Array, address_s: float | None) -> Array:
    """Where the four markers (4, T, 3) stand at address, (4, 3); NaN for one that is not seen there."""
    rate, frames = recording.point_rate_hz, tracks.shape[1]
    width = max(1, min(frames, round(STILL_S * rate)))
    if address_s is not None:
        start = round((address_s - recording.first_s) * rate) - width // 2
    else:
        steps = np.linalg.norm(np.diff(tracks, axis=1), axis=2).sum(axis=0)
        steps = np.where(np.isfinite(steps), steps, np.inf)[: max(width, frames // 2)]
        moved = np.array([steps[k : k + width].sum() for k in range(max(1, steps.size - width + 1))])
        start = int(np.argmin(moved))
    start = min(max(start, 0), frames - width)
    held = tracks[:, start : start + width]
    seen = np.isfinite(held).all(axis=(0, 2))
    return np.asarray(np.median(held[:, seen], axis=1)) if seen.any() else np.full((4, 3), np.nan)
