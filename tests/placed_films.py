"""Films of made feet (filmed_feet.py) put on their plates' clocks, and what came of it."""

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

import filmed_feet as feet_of
from ingest.film.sound import RATE_HZ, clicks_in
from ingest.film.tracks import Filmed, Tracks
from models.swing.clip import Clip
from models.swing.film_placing import place_clips
from warehouse.traces import SessionTrace

MAKERS = sorted(feet_of.MAKERS)
LIFTING = [name for name in MAKERS if name != "barely lifting heel"]
RATES = (25.0, 30.0, 60.0, 120.0, 240.0)


class Lie(NamedTuple):
    """Where a film was put, and what was said of it."""

    offset_s: float | None
    se_s: float | None
    source: str | None
    flags: list[str]
    candidates: list[float]


def trace_of(swings):
    names = ["lead_n", "trail_n", "lead_along_pct", "trail_along_pct"]
    parts = [[*one.load_n, *one.along_pct] for one in swings]
    if swings[0].heel_n is not None:
        names += ["lead_heel_n", "trail_heel_n"]
        parts = [[*part, *one.heel_n] for part, one in zip(parts, swings, strict=True)]
    columns = {
        name: np.concatenate([part[k] for part in parts]).astype(np.float32) for k, name in enumerate(names)
    }
    ends = np.cumsum([0] + [one.t_s.size for one in swings])
    numbers = np.arange(1, len(swings) + 1, dtype=np.int32)
    starts = np.array([one.t_s[0] for one in swings])
    return SessionTrace("s1", numbers, ends, np.full(len(swings), feet_of.RATE_HZ), starts, columns)


def points_of(films, first_frame=None):
    rows = []
    for number, film in enumerate(films, start=1):
        frame = np.arange(len(film.px)) + (0 if first_frame is None else first_frame[number - 1])
        rows += [
            pl.DataFrame(
                {"swing_no": pl.Series([number] * len(frame), dtype=pl.Int32), "frame": frame,
                 "point": [name] * len(frame), "x_px": film.px[:, k, 0], "y_px": film.px[:, k, 1],
                 "score": np.full(len(frame), 0.9)}
            ).filter(pl.col("x_px").is_finite())
            for k, name in enumerate(feet_of.POINTS)
        ]  # fmt: skip
    return pl.concat(rows)


def clip_of(films, **more):
    return Clip(points_of(films), films[0].fps, None, films[0].view, films[0].mm_per_px, **more)


def events_of(build, plate, film):
    """Marked events, one dict a swing, on both clocks."""
    on_film = build.event_rows(film).with_columns(clock=pl.lit("clip"))
    return pl.concat([build.event_rows(plate), on_film])


def placed(build, swings, films, events=None, *, impacts=None, clip=None, **columns):
    """Offsets, their errors, sources and flags of one session's films."""
    none = build.event_rows([{}] * len(swings))
    rows, placed = place_clips(
        clip or clip_of(films), trace_of(swings), build.swing_rows(len(swings), **columns),
        none if events is None else events, None, impacts or (lambda: np.full((2, len(swings)), np.nan)),
    )  # fmt: skip
    names = ("clip_offset_s", "clip_offset_se_s", "clip_offset_source")
    return [
        Lie(*values, placed.flags.get(no, []), placed.candidates.get(no, []))
        for no, values in enumerate(zip(*(rows[n] for n in names), strict=True), 1)
    ]


def within(films, found):
    return [
        one[0] is not None and abs(one[0] - film.offset_s) <= film.tolerance_s
        for film, one in zip(films, found, strict=True)
    ]


def one_film(maker, seed, **how):
    swing = feet_of.MAKERS[maker](seed, seed + 1)
    how = {
        "fps": RATES[seed % len(RATES)],
        "lost": 0.5 * (seed % 3 == 0),
        "pan_px_s": 60.0 * (seed % 4 == 0),
    } | how
    return swing, feet_of.camera(swing, seed, **how)


def picture(film, plate_s, rng):
    """A moment as somebody picks it on film: the picture nearest to it, or its neighbour."""
    return round((plate_s - film.offset_s) * film.fps + rng.choice([-0.4, 0, 0.4])) / film.fps


def heard(film, swing, seed, **world):
    sound = feet_of.microphone(film, swing.impact_s, seed, rate_hz=RATE_HZ, **world)
    clicks = Tracks(
        film.times_s, film.px, film.px[..., 0], film.px[:, 0], (0, 0), None, tuple(clicks_in(sound))
    )
    return Filmed(1, "", Path(), clicks, (), 1.0, keep_original=False).strikes(None)


def by_sound(build, swing, film, seed, **world):
    """Where a film is put by its sound alone; None without a click in it."""
    strikes, error = heard(film, swing, seed, **world)
    if not strikes:
        return None
    columns = {"clip_strikes_s": [strikes], "clip_strike_se_s": [error]}
    return placed(build, [swing], [film], build.event_rows([{"impact": swing.impact_s}]), **columns)[0]


def slowed(film, by):
    """A film recorded at its own rate that plays so many times slower, as its session.toml says too."""
    return replace(film, fps=film.fps / by, times_s=film.times_s * by)
