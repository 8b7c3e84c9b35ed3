"""Clip points from COCO-WholeBody keypoint files (`clip*.json`), one file a swing.

The six foot points are keypoints 17–22 of 133 (left big toe, left small toe, left heel, then the right
foot's), or `foot_kpts` beside the 17 of the body. A toe point is the mean of big and small toe, where both
are seen.

Frame: the last number in an image's file_name, counted from the file's lowest; without numbers, the order of
the image ids. A bare list of results has no images, so its image ids are the frames. Of several people in a
frame the one nearest the last frame's is followed, from the one whose feet stand widest apart in the first.
Source: the open COCO-WholeBody data format (jin-s13/COCO-WholeBody, data_format.md).
"""

import json
import re
from collections.abc import Iterable, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import PointsFormat, SessionContext
from ingest.refusals import refuse
from ingest.session_file import foot_of
from warehouse.toml import is_whole

FLOATS = NDArray[np.float64]
BODY, FEET = 17, 6
SIDES = ("left", "right")
COLUMNS = {"frame": pl.Int64(), "point": pl.String(), "x_px": pl.Float64(), "y_px": pl.Float64(),
           "score": pl.Float64()}  # fmt: skip


class Keypoints(PointsFormat):
    """A COCO-WholeBody keypoint file of one swing."""

    title = "Keypoints of a clip, one swing"
    names = ("clip*.json",)

    def looks_like(self, path: Path) -> bool:
        """Any JSON file."""
        return path.suffix.lower() == ".json"

    def read(self, name: str, context: SessionContext) -> pl.DataFrame:
        """Rows of one swing's file; left and right become lead and trail by the hand."""
        rows = read_keypoints(context.held[name], name)
        return rows.with_columns(named_points(rows, context, name))

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - no device writes it
        """How many frames show which points."""
        rows = read_keypoints(path.read_bytes(), path.name)
        found = Explanation(path.name, self.title)
        frames = rows["frame"].n_unique()
        found.facts["frames"] = str(frames)
        seen = rows.group_by("point").len().sort("point").iter_rows()
        found.facts["points"] = ", ".join(f"{point} in {count} frames" for point, count in seen)
        return found


def named_points(strings: pl.DataFrame, context: SessionContext, file: str) -> pl.Series:
    """Point names with lead and trail for left and right.

    Raises
        Refused: the student's hand is not known.
    """
    points = strings["point"].str.to_lowercase()
    if not points.str.contains("^(left|right)_").any():
        return points
    handed = context.hand(file, "left and right feet are given but ", line=1, column="point")
    places = [(side, part) for side in SIDES for part in ("heel", "toe")]
    return points.replace({f"{side}_{part}": f"{foot_of(side, handed)}_{part}" for side, part in places})


def read_keypoints(data: bytes, file: str) -> pl.DataFrame:
    """Rows frame, point (left_heel, left_toe, right_heel, right_toe), x_px, y_px, score of one swing's file.

    Raises
        Refused: it is not a keypoint file, or it holds body points without feet.
    """
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise _refused(file, "this is not readable JSON") from error
    parts = {"annotations": document} if isinstance(document, list) else document
    notes, images = (
        (parts.get("annotations"), parts.get("images", [])) if isinstance(parts, dict) else ([], [])
    )
    lists = isinstance(notes, list) and isinstance(images, list)
    if not lists or not notes or not all(isinstance(n, dict) and _whole(n.get("image_id")) for n in notes):
        raise _refused(file, "it holds no list of annotations, each with its image_id")
    images = [image for image in images if isinstance(image, dict) and _whole(image.get("id"))]
    frame_of = _frames(images, [note["image_id"] for note in notes])
    found: dict[int, list[FLOATS]] = {}
    for note in notes:
        feet = _feet(note, file)
        if note["image_id"] in frame_of and (feet[:, 2] > 0).any():
            found.setdefault(frame_of[note["image_id"]], []).append(feet)
    if not found:
        raise _refused(file, "no foot point is seen in it")
    flags = any((feet[:, 2] > 1).any() for people in found.values() for feet in people)
    rows = [row for frame, feet in _followed(found) for row in _rows(frame, feet, flags=flags)]
    return pl.DataFrame(rows, schema=COLUMNS, orient="row")


def _refused(file: str, what: str) -> Exception:
    todo = "export it as COCO-WholeBody keypoints with the six foot points, or as clip.csv, and deliver again"
    return refuse("unreadable", what, todo, file=file)


def _whole(value: Any) -> bool:
    return is_whole(value) and abs(value) <= 2**53


def _frames(images: list[dict[str, Any]], ids: Iterable[int]) -> Mapping[int, int]:
    """Image id → frame."""
    if not images:
        lowest = min(ids)
        return {image: image - lowest for image in ids}
    numbers = {}
    for image in images:
        digits = re.findall(r"\d{1,9}", str(image.get("file_name", "")).rsplit("/", 1)[-1].rsplit(".", 1)[0])
        numbers[image["id"]] = int(digits[-1]) if digits else None
    known = [number for number in numbers.values() if number is not None]
    if len(known) == len(numbers) and len(set(known)) == len(known):
        return {image: number - min(known) for image, number in numbers.items() if number is not None}
    return {image: place for place, image in enumerate(sorted(numbers))}


def _feet(note: Mapping[str, Any], file: str) -> FLOATS:
    """(6, 3) x, y, score of one person's foot points."""
    given = note.get("foot_kpts", note.get("keypoints"))
    try:
        values = np.asarray(given, dtype=np.float64).reshape(-1, 3)
    except (TypeError, ValueError) as error:
        raise _refused(file, "its keypoints are not numbers in threes") from error
    if not np.isfinite(values).all() or np.abs(values).max(initial=0.0) > 1e6:
        raise _refused(file, "its keypoints are not all pixel places")
    if "foot_kpts" not in note:
        if len(values) == BODY:
            raise _refused(file, "it holds the 17 points of the body but none of the feet")
        values = values[BODY : BODY + FEET]
    if len(values) != FEET:
        raise _refused(file, "a person in it has not six foot points")
    return values


def _followed(found: Mapping[int, list[FLOATS]]) -> Iterable[tuple[int, FLOATS]]:
    """One person a frame: the widest pair of feet at first, then whoever is nearest the last place."""
    first = min(found)
    last = _centre(max(found[first], key=lambda feet: float(np.ptp(feet[feet[:, 2] > 0, :2], axis=0).max())))
    for frame in sorted(found):
        feet = min(found[frame], key=lambda person: float(np.hypot(*(_centre(person) - last))))
        last = _centre(feet)
        yield frame, feet


def _centre(feet: FLOATS) -> FLOATS:
    return np.asarray(feet[feet[:, 2] > 0, :2].mean(axis=0))


def _rows(frame: int, feet: FLOATS, *, flags: bool) -> Iterable[tuple[int, str, float, float, float]]:
    """Heel and toe of both feet that are seen; `flags`: 1 is hidden and 2 seen, else a score from 0 to 1."""
    scores = np.clip(feet[:, 2] / (2.0 if flags else 1.0), 0.0, 1.0)
    for side, (low, high) in zip(SIDES, pairwise((0, 3, 6)), strict=True):
        (big, small, heel), sure = feet[low:high, :2], scores[low:high]
        if sure[2] > 0:
            yield frame, f"{side}_heel", float(heel[0]), float(heel[1]), float(sure[2])
        if sure[0] > 0 and sure[1] > 0:
            toe = (big + small) / 2
            yield frame, f"{side}_toe", float(toe[0]), float(toe[1]), float(min(sure[:2]))
