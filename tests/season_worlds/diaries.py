"""Academies by another hand than the rest of this folder, written before the models they question were read.

Levels are in smallest worthwhile changes (the spread between students is 5), more is better. Students keep a rhythm of
their own of one to two and a half weeks and may stay away for five or six. A visit's swings fall into blocks of one
pace and club; a day is off by N(0, 2.3²), each of its blocks by N(0, 1) more, and a swing by N(0, 3.5²), of which
measures share three tenths. Unless said otherwise nobody changes.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import SIX, START, Swings, Visits, code, tables

SPREAD, DAY, BLOCK, SWING, ALIKE = 5.0, 2.3, 1.0, 3.5, 0.3
IRON, SLOW, DRIVER = ("full", "iron"), ("slow", "iron"), ("full", "driver")
BLOCKS = {IRON: 8, SLOW: 5, DRIVER: 5}
FOUR = SIX[:4]


@dataclass(frozen=True)
class Book:
    """Rows by table, and truth: student, with metric and outcome where they matter, and change (better is positive)."""

    tables: dict[str, pl.DataFrame]
    truth: pl.DataFrame


def diary(rng: np.random.Generator, students: int, *, pauses: int = 0, days: int = 182) -> tuple:
    """(V,) student, day and pauses so far, students one after another."""
    rows = []
    for student in range(students):
        gap, day = rng.uniform(7, 17), float(rng.integers(0, 8))
        away = sorted(rng.choice(np.arange(40, 130, 45), pauses, replace=False)) if pauses else []
        been = 0
        while day < days:
            rows.append((student, int(day), been))
            day += gap * rng.lognormal(0, 0.15)
            if been < len(away) and day > away[been]:
                day, been = day + rng.integers(30, 40), been + 1
    return tuple(np.array(rows).T)


def errors(
    rng: np.random.Generator, count: int, measures: int, *, alike: float, df: float | None
) -> np.ndarray:
    """(count, measures) of standard deviation 1; Student's t with `df` degrees of freedom."""

    def draw(width: int) -> np.ndarray:
        if df is None:
            return rng.normal(size=(count, width))
        return rng.standard_t(df, (count, width)) * np.sqrt((df - 2) / df)

    return np.sqrt(alike) * draw(1) + np.sqrt(1 - alike) * draw(measures)


def swung(
    rng: np.random.Generator,
    level: dict[tuple[str, str], np.ndarray],
    *,
    noise: np.ndarray | float = 1.0,
    scatter: np.ndarray | float = 1.0,
    blocks: dict[tuple[str, str], int],
    alike: float = ALIKE,
    df: float | None = None,
) -> list[Swings]:
    """Every block's swings about its true level (V, M). noise times all errors, scatter times those of swings."""
    visits, measures = level[IRON].shape
    by_day = errors(rng, visits, measures, alike=alike, df=df) * DAY
    made = []
    for block, usual in blocks.items():
        count = np.maximum(rng.poisson(usual, visits), 3)
        visit = np.repeat(np.arange(visits), count)
        own = errors(rng, visits, measures, alike=alike, df=df) * BLOCK
        swing = errors(rng, visit.size, measures, alike=alike, df=df) * SWING
        off = np.broadcast_to(noise, (visits, measures))
        wide = off * np.broadcast_to(scatter, (visits, measures))
        x = (level[block] + off * (by_day + own))[visit] + wide[visit] * swing
        more = {"pace": np.full(visit.size, block[0]), "club_family": np.full(visit.size, block[1])}
        made.append(Swings(visit, x, more=more))
    return made


def filled(
    student: np.ndarray, day: np.ndarray, metrics: tuple[str, ...], swings: list[Swings], **more
) -> dict:
    """The academy's tables."""
    number = sum(np.bincount(some.visit, minlength=student.size) for some in swings)
    return tables(Visits(student, day, number), metrics, swings, **more)


def far(day: np.ndarray) -> np.ndarray:
    """(V, 1): how much of the season has passed, 0 to 1."""
    return (day / 182.0)[:, None]


def beside_the_level(world: str, students: int, seed: int, *, large: float = 1.0) -> Book:
    """Visits with slow swings, irons and drivers, and two pauses each.

    nobody_changes; unequal_noise (students' by e^N(0, 0.4²); half go over to a device that reads 3 higher and scatters
    1.6 times as much); level_only (half gain 8); multiplicative (the same, and scatter shrinks with what is lacking);
    heavy_tails (t with 3 degrees of freedom); drop_outs (levels wander by 1 a √month, and from the sixth visit on half
    of those who have not measured better leave, each time). In the others four in ten students change in all they do:
    steadier (scatter to a third), away (6 lost in each pause), pace and clubs (full pace and drivers fall 8 behind).
    `large` times these changes.
    """
    rng = np.random.default_rng([seed, students, 61])
    student, day, been = diary(rng, students, pauses=2)
    n, measures, far_on = student.size, len(SIX), far(day)
    level = -10 + rng.normal(0, SPREAD, (students, measures))[student]
    touched = (rng.permutation(students) < 0.4 * students)[student][:, None]
    noise = scatter = np.ones((n, measures))
    device = np.full(n, "mat")
    if world in ("level_only", "multiplicative"):
        level = level + 8 * (rng.permutation(students) < students / 2)[student][:, None] * far_on
    if world == "multiplicative":
        scatter = np.exp((-10 - level) / 16)
    if world == "unequal_noise":
        noise = np.exp(rng.normal(0, 0.4, students))[student][:, None] * noise
        other = (rng.permutation(students) < students / 2)[student] & (day > 91)
        device = np.where(other, "plates", "mat")
        level, noise = level + 3 * other[:, None], noise * np.where(other, 1.6, 1.0)[:, None]
    if world == "drop_outs":
        step = np.sqrt(np.where(place(student) > 0, np.diff(day, prepend=0), 0).clip(0) / 30)[:, None]
        level = level + np.cumsum(step * rng.normal(size=level.shape), axis=0)
    if world == "steadier":
        scatter = np.exp(-np.log(3) * large * touched * far_on) * scatter
    if world == "away":
        level = level - 6 * large * touched * been[:, None]
    behind = 8 * large * touched * far_on
    true = level - 3 * (device == "plates")[:, None]
    levels = {
        IRON: level,
        SLOW: level + 2 + behind * (world == "pace"),
        DRIVER: level - 3 - behind * (world == "clubs"),
    }
    swings = swung(
        rng, levels, noise=noise, scatter=scatter, blocks=BLOCKS, df=3 if world == "heavy_tails" else None
    )
    first, last = ends(student)
    fallen = -large * touched[first] * np.ones(measures)
    change = {
        "consistency": np.log(scatter[first] / scatter[last]),
        "keeping": over_pauses(student, day, true),
        "transfer_pace": 8 * fallen * (world == "pace"),
        "transfer_club": 8 * fallen * (world == "clubs"),
    }
    truth = pl.concat([listed(SIX, of).with_columns(outcome=pl.lit(name)) for name, of in change.items()])
    if world == "drop_outs":
        stays = stayers(rng, student, swings)
        swings = [only(some, stays) for some in swings]
        student, day, device = student[stays], day[stays], device[stays]
    return Book(filled(student, day, SIX, swings, device=device), truth)


def place(student: np.ndarray) -> np.ndarray:
    """(V,) 0 at each student's first visit."""
    return np.arange(student.size) - np.searchsorted(student, student)


def over_pauses(student: np.ndarray, day: np.ndarray, level: np.ndarray) -> np.ndarray:
    """(S, M): the mean change of the level over each student's gaps of four weeks or more."""
    after = np.flatnonzero((np.diff(day, prepend=0) >= 28) & (place(student) > 0))
    steps = np.zeros((int(student.max()) + 1, level.shape[1]))
    np.add.at(steps, student[after], level[after] - level[after - 1])
    return steps / np.maximum(np.bincount(student[after], minlength=len(steps)), 1)[:, None]


def ends(student: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(S,) rows of the first and last visits."""
    everybody = np.unique(student)
    return np.searchsorted(student, everybody), np.searchsorted(student, everybody, side="right") - 1


def listed(metrics: tuple[str, ...], change: np.ndarray) -> pl.DataFrame:
    """student, metric, change of (S, M)."""
    wide = pl.DataFrame(change + 0.0, schema=list(metrics)).with_columns(
        student=pl.Series([code(s) for s in range(len(change))])
    )
    return wide.unpivot(on=list(metrics), index="student", variable_name="metric", value_name="change")


def only(swings: Swings, stays: np.ndarray) -> Swings:
    """Those of the visits that stay, which are numbered anew."""
    kept = stays[swings.visit]
    more = {name: column[kept] for name, column in swings.more.items()}
    return Swings((np.cumsum(stays) - 1)[swings.visit[kept]], swings.x[kept], more=more)


def stayers(rng: np.random.Generator, student: np.ndarray, swings: list[Swings]) -> np.ndarray:
    """(V,) visits before a student has left for want of measured progress."""
    measured = np.array([swings[0].x[swings[0].visit == v].mean() for v in range(student.size)])
    stays = np.ones(student.size, bool)
    for one in range(int(student.max()) + 1):
        at = np.flatnonzero(student == one)
        for k in range(6, at.size):
            better = measured[at[k - 3 : k]].mean() > measured[at[:3]].mean()
            if not better and rng.random() < 0.5:
                stays[at[k:]] = False
                break
    return stays


def aims(world: str, students: int, seed: int, *, gain: float = 0.0) -> Book:
    """Everybody agrees on four kindred measures at the fourth visit, due at the season's end.

    From then on all four gain `gain` within ten weeks. usual; others_rose and others_fell (before that day three in
    four students change by 6, the others not); few_visits (two or three since); correlated (0.6);
    unequal_noise (e^N(0, 0.5²)). truth: student, change, and `still`: whether nothing changed before.
    """
    rng = np.random.default_rng([seed, students, 62])
    student, day, _ = diary(rng, students)
    if world == "few_visits":
        kept = place(student) < rng.integers(6, 8, students)[student]
        student, day = student[kept], day[kept]
    begun, agreed = (day[place(student) == k] for k in (0, 3))
    alike = 0.6 if world == "correlated" else ALIKE
    level = -12 + SPREAD * errors(rng, students, 4, alike=alike, df=None)[student]
    moved = rng.permutation(students) < (0.75 * students if world.startswith("others_") else 0)
    before = np.clip((day - begun[student]) / np.maximum(agreed - begun, 1)[student], 0, 1)
    level = level + ((6 if world == "others_rose" else -6) * moved[student] * before)[:, None]
    level = level + (gain * np.clip((day - agreed[student]) / 70, 0, 1))[:, None]
    noise = np.exp(rng.normal(0, 0.5 if world == "unequal_noise" else 0, students))[student][:, None]
    swings = swung(rng, {IRON: level}, noise=noise, blocks={IRON: 10}, alike=alike)
    at = [START + timedelta(days=int(one), hours=9) for one in agreed]
    notes = pl.DataFrame(
        {"note": [f"n{s}" for s in range(students)], "student": [code(s) for s in range(students)], "at": at,
         "day": [one.date() for one in at], "author": "c01", "kind": "agreed_aim", "code": FOUR[0],
         "kindred": " ".join(FOUR[1:]), "value": 4.0, "due": (START + timedelta(days=181)).date(),
         "shared": True, "delivery": "d", "loose": False}
    )  # fmt: skip
    truth = pl.DataFrame({"student": [code(s) for s in range(students)], "change": gain, "still": ~moved})
    return Book(filled(student, day, FOUR, swings) | {"academy.note": notes}, truth)


def lines(students: int, seed: int, *, noise: float = 1.0, metrics: tuple[str, ...] = SIX) -> Book:
    """Everybody has a slope of their own, N(0.2, 1.0²) a month in each measure. truth: from the first visit to the last."""
    rng = np.random.default_rng([seed, students, 63])
    student, day, _ = diary(rng, students)
    slope = rng.normal(0.2, 1.0, (students, len(metrics)))
    level = (-10 + rng.normal(0, SPREAD, slope.shape))[student] + slope[student] * (day / 30)[:, None]
    swings = swung(rng, {IRON: level}, noise=noise, blocks={IRON: 10})
    first, last = ends(student)
    change = slope * ((day[last] - day[first]) / 30)[:, None]
    return Book(filled(student, day, metrics, swings), listed(metrics, change))
