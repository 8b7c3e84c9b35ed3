"""A film's tracks as rows of clip.csv: at the times of a steady rate, by the names of heels and toes."""

import io
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ingest.film.tracks import ADDRESS_PICTURES, FLOATS, Tracks, pairings
from ingest.refusals import refuse
from warehouse.vocabulary import EVENTS, POINTS

LOWER = 0.2  # of the foot's length in the picture
SAME_RATE = 1.1
ON_TIME, WIDEST = 0.02, 2.5  # of a frame: near enough to be taken as it is; apart enough to be a gap
TRACK_COLUMNS = {"picture": pl.Int64(), "t_s": pl.Float64(), "mark": pl.Int64(), "x_px": pl.Float64(),
                 "y_px": pl.Float64(), "score": pl.Float64()}  # fmt: skip
WIDTH_COLUMN = "shoe_width_px"  # the same in every row, and only there where it is known
CLICKS_COLUMN = "clicks_s"  # the same in every row, seconds with spaces between; only there with sound
TAKEN_COLUMN, CAPTURED_COLUMN = "taken_at", "captured_fps"  # likewise, where the film's head says them
AS_READ = {**TRACK_COLUMNS, CLICKS_COLUMN: pl.String(), TAKEN_COLUMN: pl.String()}


@dataclass(frozen=True)
class Named:
    """Points on the clip's clock, frame n at n / fps: places (F, 4, 2) px as POINTS, NaN lost."""

    places: FLOATS
    scores: FLOATS  # (F, 4)
    slower: float  # how many times slower the film plays than it was filmed, usually 1
    order: tuple[int, int, int, int]

    def rows(self) -> pl.DataFrame:
        """Rows frame, point, x_px, y_px, score of what was seen."""
        (x, y), count = np.round(self.places.reshape(-1, 2), 2).T, len(self.places)
        names = {"frame": np.repeat(np.arange(count), 4), "point": list(POINTS) * count}
        seen = {"x_px": x, "y_px": y, "score": np.round(self.scores.ravel(), 3)}
        return pl.DataFrame(names | seen).filter(pl.col("score") > 0)


def name_points(tracks: Tracks, fps: float, view: str, handed: str, file: str) -> Named:
    """Name the marks and put them on the clip's clock, free of the camera's shake.

    A film that plays slower than `fps` is slow motion: its times are shortened. Between two pictures a mark
    is taken to move straight; across more than 2.5 frames, or where it was lost, it is not known.

    Raises
        Refused: the film has more pictures a second than `[clip]` says, or its head says that it was slowed
            by another factor.
    """
    own = 1.0 / float(np.median(np.diff(tracks.times_s)))
    slower = fps / own
    if slower < 1 / SAME_RATE:
        what = f"it has {own:.4g} pictures a second but [clip] says fps = {fps:g}"
        raise refuse("bad_clip", what, "correct fps in session.toml and deliver the session again", file=file)
    captured = tracks.captured_fps
    if captured and captured > SAME_RATE * own and not 1 / SAME_RATE <= captured / fps <= SAME_RATE:
        what = (
            f"its head says it was filmed at {captured:.4g} pictures a second but [clip] says fps = {fps:g}"
        )
        raise refuse("bad_clip", what, "correct fps in session.toml and deliver the session again", file=file)
    slower = slower if slower > SAME_RATE else 1.0
    times, steady, scores = _written(tracks)
    times = times / slower
    order = name_marks(np.nanmean(steady[:ADDRESS_PICTURES], axis=0), view, handed)
    places, scores = _regular(times * fps, steady, scores)
    return Named(places[:, order], scores[:, order], slower, order)


def _regular(at: FLOATS, places: FLOATS, scores: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Places and scores at whole frames from those at `at` (F,), in frames."""
    frames = np.arange(int(at[-1] + ON_TIME) + 1)
    after = np.clip(np.searchsorted(at, frames, side="left"), 1, len(at) - 1)
    before = after - 1
    part = np.clip((frames - at[before]) / (at[after] - at[before]), 0.0, 1.0)
    near_before, near_after = (np.abs(frames - at[side]) <= ON_TIME for side in (before, after))
    part = np.where(near_before, 0.0, np.where(near_after, 1.0, part))
    wide = (at[after] - at[before] > WIDEST) & ~near_before & ~near_after
    one, two = places[before], places[after]
    with np.errstate(invalid="ignore"):
        between = one + part[:, None, None] * (two - one)
    found, score = between, np.minimum(scores[before], scores[after])
    for exactly, side in ((part == 0.0, before), (part == 1.0, after)):
        found[exactly], score[exactly] = places[side][exactly], scores[side][exactly]
    found[wide] = np.nan
    return found, np.where(np.isfinite(found).all(axis=2), score, 0.0)


def tracks_of_points(points: pl.DataFrame, fps: float, slower: float, size: tuple[int, int]) -> Tracks:
    """Tracks, in the order of POINTS, from points that came in a file of their own; times as it plays."""
    count = int(points["frame"].max()) + 1  # type: ignore[arg-type]
    places, scores = np.full((count, 4, 2), np.nan), np.zeros((count, 4))
    for mark, name in enumerate(POINTS):
        rows = points.filter(pl.col("point") == name)
        at = rows["frame"].to_numpy()
        places[at, mark] = rows.select("x_px", "y_px").to_numpy()
        scores[at, mark] = rows["score"].fill_null(1.0).to_numpy()
    times = np.arange(count) / fps * slower
    return Tracks(times, places, scores, np.zeros((count, 2)), size)


def write_tracks(tracks: Tracks) -> bytes:
    """Tracks as the text kept with the film: marks by number, as the player's hand may be corrected."""
    count = len(tracks.times_s)
    times, places, scores = _written(tracks)
    (x, y), marks = places.reshape(-1, 2).T, np.arange(4)
    which = {
        "picture": np.repeat(np.arange(count), 4),
        "t_s": np.repeat(times, 4),
        "mark": np.tile(marks, count),
    }
    frame = pl.DataFrame(which | {"x_px": x, "y_px": y, "score": scores.ravel()}, schema=TRACK_COLUMNS)
    known = {
        WIDTH_COLUMN: tracks.shoe_width_px and round(tracks.shoe_width_px, 2),
        CLICKS_COLUMN: None if tracks.clicks_s is None else " ".join(f"{at:.4f}" for at in tracks.clicks_s),
        TAKEN_COLUMN: tracks.taken_at and tracks.taken_at.isoformat(),
        CAPTURED_COLUMN: tracks.captured_fps,
    }
    frame = frame.with_columns(pl.lit(it).alias(column) for column, it in known.items() if it is not None)
    text = io.BytesIO()
    frame.with_columns(pl.col("x_px", "y_px").fill_nan(None)).write_csv(text)
    return text.getvalue()


def _written(tracks: Tracks) -> tuple[FLOATS, FLOATS, FLOATS]:
    """Times, places free of the camera's shake, and scores, as exact as they are written down.

    What is read of a film the first time and what is read again from its tracks are then the same.
    """
    return np.round(tracks.times_s, 6), np.round(tracks.steady, 3), np.round(tracks.scores, 4)


def read_tracks(data: bytes) -> Tracks:
    """Tracks from the text kept with a film; shakes are already removed and its size is not known."""
    frame = pl.read_csv(io.BytesIO(data), schema_overrides=AS_READ)
    count = len(frame) // 4
    places = frame.select("x_px", "y_px").fill_null(float("nan")).to_numpy().reshape(count, 4, 2)
    scores = frame["score"].to_numpy().reshape(count, 4)
    width = float(frame[WIDTH_COLUMN][0]) if WIDTH_COLUMN in frame.columns else None
    clicks = None
    if CLICKS_COLUMN in frame.columns:
        clicks = tuple(float(at) for at in (frame[CLICKS_COLUMN][0] or "").split())
    taken = datetime.fromisoformat(frame[TAKEN_COLUMN][0]) if TAKEN_COLUMN in frame.columns else None
    captured = float(frame[CAPTURED_COLUMN][0]) if CAPTURED_COLUMN in frame.columns else None
    times, shakes = frame["t_s"].to_numpy()[::4], np.zeros((count, 2))
    return Tracks(times, places, scores, shakes, (0, 0), width, clicks, taken, captured)


def name_marks(places: FLOATS, view: str, handed: str) -> tuple[int, int, int, int]:
    """Which mark is which, by where they are at address: the marks in the order of POINTS.

    From behind the player, down the line, the trail foot is the nearer, so it is lower in the picture; a
    right-hander's toes point to the right. From the front, the player's left foot is on the picture's right,
    and the toes, nearer to the camera, are lower; where they hardly are, they point outward.

    Args:
        places: (4, 2) px at address; rows of the picture count downward.
        view: face_on or down_line.
        handed: right or left.
    """
    feet = _down_line(places, handed) if view == "down_line" else _face_on(places, handed)
    (lead_heel, lead_toe), (trail_heel, trail_toe) = feet
    return lead_heel, lead_toe, trail_heel, trail_toe


def tapped_feet_swapped(points: pl.DataFrame, view: str, handed: str) -> bool:
    """Whether each foot is where the other should be, in one swing's points that were tapped by hand.

    Points of more frames than there are key moments were followed, and are named by what followed them.
    """
    if points["frame"].n_unique() > len(EVENTS):
        return False
    for rows in points.sort("frame").partition_by("frame", maintain_order=True):
        places = {name: (x, y) for name, x, y in rows.select("point", "x_px", "y_px").iter_rows()}
        if len(places) == len(POINTS):
            order = name_marks(np.array([places[name] for name in POINTS], dtype=np.float64), view, handed)
            return {*order[:2]} == {2, 3}
    return False


def _down_line(places: FLOATS, handed: str) -> list[tuple[int, int]]:
    """Lead and trail foot, each heel and toe: a foot lies along the picture's rows."""
    steep = {pair: sum(_steepness(places, *foot) for foot in pair) for _, pair in pairings(places)}
    pair = min(pairings(places), key=lambda found: found[0] + steep[found[1]])[1]
    toes_right = 1.0 if handed == "right" else -1.0
    feet = [tuple(sorted(foot, key=lambda mark: toes_right * places[mark, 0])) for foot in pair]
    feet.sort(key=lambda foot: places[list(foot), 1].mean())
    return [(foot[0], foot[1]) for foot in feet]


def _steepness(places: FLOATS, one: int, two: int) -> float:
    across, down = np.abs(places[one] - places[two])
    return float(down / max(np.hypot(across, down), 1e-9))


def _face_on(places: FLOATS, handed: str) -> list[tuple[int, int]]:
    """Lead and trail foot, each heel and toe: the feet stand side by side."""
    order = np.argsort(places[:, 0], kind="stable")
    middle = float(places[:, 0].mean())
    feet = []
    for foot in (order[2:], order[:2]):  # the player's left foot first
        one, two = (int(mark) for mark in foot)
        long = float(np.hypot(*(places[one] - places[two])))
        down = float(places[two, 1] - places[one, 1])
        out = abs(float(places[two, 0]) - middle) - abs(float(places[one, 0]) - middle)
        toe_is_two = down > 0 if abs(down) > LOWER * long else out > 0
        feet.append((one, two) if toe_is_two else (two, one))
    return feet if handed == "right" else feet[::-1]
