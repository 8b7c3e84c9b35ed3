"""Following the tape of a film, beside merely decoding it."""

from pathlib import Path

import made_films
from bench.table import Row, paired
from ingest.film.following import follow_film
from ingest.film.pictures import pictures

GOAL_S = 4.0


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
