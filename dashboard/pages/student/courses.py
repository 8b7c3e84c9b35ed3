"""Frames for the pictures of a swing: the load's course and the heels' lanes of sessions or single swings."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from dashboard.charts.heel_lanes import LEAD, TRAIL
from dashboard.charts.load_curve import FIRST, THIS
from dashboard.queries import sessions
from warehouse.access import Reader
from warehouse.traces import stretch
from warehouse.vocabulary import EVENTS

NEEDED = ("takeaway", "top", "impact")
SIGNALS = ("lead_n", "trail_n", "lead_heel_n", "trail_heel_n", "lead_along_pct", "trail_along_pct")
HEEL_AT_PCT, BALL_AT_PCT = 15.0, 70.0  # where a foot rests when its heel load is estimated from its pressure
LIGHT = 0.10  # under this share of body weight, both feet light: no lead share
# Where the band of a metric stands on the load's course, and whether it is a trail share.
POSTS = {
    "address_lead_share_pct": ("address", False),
    "mid_back_trail_share_pct": ("mid_back", True),
    "top_lead_share_pct": ("top", False),
    "mid_down_lead_share_pct": ("mid_down", False),
    "impact_lead_share_pct": ("impact", False),
    "finish_lead_share_pct": ("finish", False),
}


@dataclass(frozen=True)
class Take:
    """What is drawn: a session's full swings, or one swing of it."""

    session: str
    swing_no: int | None = None


@dataclass(frozen=True)
class Courses:
    """Two takes on one time axis. `load` and `lanes` are what the charts of those names draw.

    `times`: mean seconds of each event from the takeaway, of the first take.
    """

    events: tuple[str, ...]
    load: pl.DataFrame
    lanes: pl.DataFrame
    swings: int
    estimated: bool
    times: dict[str, float]


def courses(reader: Reader, this: Take, over: Take | None, family: str) -> Courses | None:
    """Stretch one take's swings, and another's laid over it, between the events that both have.

    Null when no swing has its events. Events that fewer than four in five swings have are left out, so that
    one unmarked swing does not cost every other its detail.
    """
    marked = {THIS: _marked(reader, this, family)}
    if over is not None and over != this:
        marked[FIRST] = _marked(reader, over, family)
    marked = {which: found for which, found in marked.items() if found}
    if THIS not in marked:
        return None
    shared = tuple(e for e in EVENTS if all(_common(found, e) for found in marked.values()))
    load, lanes, swings, estimated = [], [], 0, False
    for which, found in marked.items():
        full = {n: {e: t[e] for e in shared} for n, t in found.items() if all(e in t for e in shared)}
        code = this.session if which == THIS or over is None else over.session
        stretched = stretch(reader.trace(code, SIGNALS), full, SIGNALS)
        if not len(stretched["swing_no"]):
            continue
        weight = _weight(stretched)
        load.append(_load(which, stretched, weight))
        rows, guessed = _lanes(which, stretched, weight)
        lanes.append(rows)
        if which == THIS:
            swings, estimated = len(stretched["swing_no"]), guessed
    if not swings:
        return None
    return Courses(shared, pl.concat(load), pl.concat(lanes), swings, estimated, _times(marked[THIS], shared))


def _times(found: dict[int, dict[str, float]], events: Sequence[str]) -> dict[str, float]:
    """Mean seconds from the takeaway, over the swings that have every event."""
    whole = [times for times in found.values() if all(e in times for e in events)]
    return {e: float(np.mean([times[e] - times["takeaway"] for times in whole])) for e in events}


def _marked(reader: Reader, take: Take, family: str) -> dict[int, dict[str, float]]:
    found: dict[int, dict[str, float]] = {}
    for swing_no, event, t_s in sessions.events(reader, take.session, family).iter_rows():
        if take.swing_no not in (None, swing_no):
            continue
        found.setdefault(swing_no, {})[event] = t_s
    return {n: times for n, times in found.items() if all(e in times for e in NEEDED)}


def _common(found: dict[int, dict[str, float]], event: str) -> bool:
    return sum(event in times for times in found.values()) >= 0.8 * len(found)


def _weight(stretched: dict[str, np.ndarray]) -> np.ndarray:
    """Body weight (N) of each swing, (K, 1): the total load at the first event, when the player is quiet."""
    total = stretched["lead_n"] + stretched["trail_n"]
    weight: np.ndarray = np.maximum(total[:, :5].mean(axis=1, keepdims=True), 1.0)
    return weight


def _mean_sd(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation over the swings at each position; NaN where no swing has a value."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a position that no swing has
        return np.nanmean(values, axis=0), np.nanstd(values, axis=0)


def _load(which: str, stretched: dict[str, np.ndarray], weight: np.ndarray) -> pl.DataFrame:
    total = stretched["lead_n"] + stretched["trail_n"]
    share = np.where(total >= LIGHT * weight, 100 * stretched["lead_n"] / np.maximum(total, 1e-9), np.nan)
    mean, sd = _mean_sd(share)
    frame = pl.DataFrame(
        {"position": stretched["position"], "mean": mean, "lo": mean - sd, "hi": mean + sd}, nan_to_null=True
    )
    return frame.select(pl.lit(which).alias("which"), pl.all()).drop_nulls("mean")


def _lanes(which: str, stretched: dict[str, np.ndarray], weight: np.ndarray) -> tuple[pl.DataFrame, bool]:
    """Heel loads in % of body weight; estimated from the pressure's place where they were not measured."""
    rows, guessed = [], False
    for foot, side in ((LEAD, "lead"), (TRAIL, "trail")):
        heel = stretched[f"{side}_heel_n"]
        if np.isnan(heel).all():
            part = (BALL_AT_PCT - stretched[f"{side}_along_pct"]) / (BALL_AT_PCT - HEEL_AT_PCT)
            heel, guessed = stretched[f"{side}_n"] * np.clip(part, 0, 1), True
        mean, _ = _mean_sd(np.clip(100 * heel / weight, 0, None))
        rows.append(
            pl.DataFrame({"position": stretched["position"], "mean": mean}, nan_to_null=True).select(
                pl.lit(which).alias("which"), pl.lit(foot).alias("foot"), pl.all()
            )
        )
    return pl.concat(rows).drop_nulls("mean"), guessed


def posts(bands: dict[str, tuple[float | None, float | None]], events: Sequence[str]) -> pl.DataFrame:
    """event, lo, hi of the lead share, %: the bands that stand on the load's course."""
    rows = []
    for metric, (event, is_trail) in POSTS.items():
        lo, hi = bands.get(metric, (None, None))
        if event not in events or (lo is None and hi is None):
            continue
        if is_trail:
            lo, hi = (None if hi is None else 100 - hi), (None if lo is None else 100 - lo)
        rows.append({"event": event, "lo": lo, "hi": hi})
    return pl.DataFrame(rows, schema={"event": pl.String, "lo": pl.Float64, "hi": pl.Float64})
