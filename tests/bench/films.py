"""Following the tape of a film, and all that becomes of it, beside merely decoding it."""

from dataclasses import replace
from pathlib import Path

import polars as pl

import made_films
from bench import made as bench_sessions
from bench.table import Row, paired
from ingest.film.following import follow_film
from ingest.film.pictures import pictures
from ingest.film.points import name_points
from ingest.film.sound import clicks_s
from models.swing.clip import Clip
from models.swing.reduce import answer_task

GOAL_S = 4.0
WHOLE_GOAL_S = 5.0


def following(
    folder: Path, seconds: float = 3.0, fps: float = 120.0, width: int = 1280, repeats: int = 3
) -> Row:
    """Reading and following a film, against decoding its pictures, CPU."""
    made = made_films.film(folder / "clip.mp4", seconds=seconds, fps=fps, width=width, jitter_px=2.0)
    if len(follow_film(made.path, "clip.mp4").times_s) != len(made.times_s):
        raise ValueError("a picture is missing")
    pairs = paired(
        lambda: follow_film(made.path, "clip.mp4"),
        lambda: list(map(id, pictures(made.path, "clip.mp4"))),
        repeats,
    )
    what = f"(g) following the tape of a film of {seconds:g} s, {fps:g} a second, {width} px wide / decoding it, CPU"
    return Row(what, pairs.ours, pairs.base, "s", pairs.ours_by_base, f"≤ {GOAL_S:g} s", pairs.ours <= GOAL_S)


def whole_clip(
    folder: Path, seconds: float = 3.0, fps: float = 120.0, width: int = 1280, repeats: int = 3
) -> Row:
    """A film from its file to its swing's metrics: read, followed, listened to, placed by a mark, reduced."""
    made = made_films.film(folder / "clip.mp4", seconds=seconds, fps=fps, width=width, jitter_px=2.0)
    [task] = bench_sessions.tasks(folder, 1, 1)
    impact = pl.col("t_s").filter(event="impact").first()
    on_film = task.events.filter(pl.col("event").is_in(["address", "top", "impact"])).with_columns(
        t_s=pl.col("t_s") - impact + 0.68 * seconds, clock=pl.lit("clip")
    )
    events = pl.concat([task.events, on_film])

    def whole() -> bool:
        clicks_s(made.path)
        named = name_points(follow_film(made.path, "clip.mp4"), fps, "down_line", "right", "clip.mp4")
        points = named.rows().with_columns(swing_no=pl.lit(1, pl.Int32))
        clip = Clip(points, fps, made_films.SHOE_MM, "down_line")
        return answer_task(replace(task, clip=clip, events=events)).keys["clip_offset_s"][0] is not None

    if not whole():
        raise ValueError("the film is not placed")
    pairs = paired(whole, lambda: list(map(id, pictures(made.path, "clip.mp4"))), repeats)
    what = f"(l) a film of {seconds:g} s, {fps:g} a second, {width} px wide, from file to metrics / decoding it, CPU"
    good = pairs.ours <= WHOLE_GOAL_S
    return Row(what, pairs.ours, pairs.base, "s", pairs.ours_by_base, f"≤ {WHOLE_GOAL_S:g} s", good)
