"""Worlds of change over the season: who changes, by how much, and what makes it hard to see."""

from dataclasses import replace

import numpy as np
import polars as pl

from season_worlds.academy import (
    DAYS,
    MAT,
    ONE,
    SIX,
    SWC,
    Noise,
    SeasonWorld,
    Swings,
    Visits,
    codes,
    paths,
    slopes,
    starts,
    tables,
    visits,
    wander,
)

USUAL = Noise()


def _world(
    came: Visits,
    start: np.ndarray,
    moved: np.ndarray,
    swings: Swings,
    metrics: tuple[str, ...],
    groups: np.ndarray | None = None,
    **more,
) -> SeasonWorld:
    true = start + moved
    names = codes(came.last.size)
    return SeasonWorld(
        tables(came, metrics, [swings], **more),
        paths=paths(came, true, metrics),
        groups=None if groups is None else pl.DataFrame({"student": names, "group": groups}),
    )


def _came(
    students: int,
    seed: int,
    *,
    noise: Noise = USUAL,
    metrics: int = 1,
    mean_slope: float = 0.0,
    least: int = 6,
    most: int = 14,
) -> tuple[np.random.Generator, Visits, np.ndarray, np.ndarray]:
    """The seed's generator, visits, where each student starts, and their own slopes and wandering."""
    rng = np.random.default_rng(seed)
    came = visits(rng, students, least=least, most=most)
    start = starts(rng, came, noise, metrics)
    moved = slopes(rng, came, noise, metrics, mean=mean_slope) + wander(rng, came, noise, metrics)
    return rng, came, start, moved


def _those(
    came: Visits, start: np.ndarray, moved: np.ndarray, swings: Swings, kept: np.ndarray
) -> SeasonWorld:
    """The world of these visits alone."""
    number, stays = np.cumsum(kept) - 1, kept[swings.visit]
    left = Swings(number[swings.visit[stays]], swings.x[stays])
    return _world(came.only(kept), start[kept], moved[kept], left, ONE)


def usual(students: int, seed: int, *, noise: Noise = USUAL, metrics: tuple[str, ...] = ONE) -> SeasonWorld:
    """Own slopes and wandering, and nothing odd."""
    rng, came, start, moved = _came(students, seed, noise=noise, metrics=len(metrics))
    level = start + moved + noise.session_errors(rng, came, len(metrics))
    return _world(came, start, moved, noise.swings(rng, came, level), metrics)


def nobody_changes(
    students: int, seed: int, *, metrics: tuple[str, ...] = SIX, unequal: bool = True
) -> SeasonWorld:
    """No slope and no wandering in anybody; students differ in noise."""
    own = (
        np.exp(np.random.default_rng([seed, 1]).uniform(-0.7, 0.7, students))
        if unequal
        else np.ones(students)
    )
    return usual(
        students, seed, noise=Noise(slope=0, wander=0, session=3 * own, swing=4 * own), metrics=metrics
    )


def unequal_noise(
    students: int, seed: int, *, together: bool = True, metrics: tuple[str, ...] = ONE, hold: float = 0.0
) -> SeasonWorld:
    """Some students are steady, others noisy, in sessions and swings alike unless not `together`.

    A noise of half to twice the usual, even on the log scale. `hold` is the share of students and metrics without any
    slope or wandering. groups: steady, middle or noisy third by session noise.
    """
    rng = np.random.default_rng(seed)
    session = np.exp(rng.uniform(-0.7, 0.7, students))
    swing = session if together else np.exp(rng.uniform(-0.7, 0.7, students))
    noise = Noise(session=3 * session, swing=4 * swing)
    came, many = visits(rng, students), len(metrics)
    start = starts(rng, came, noise, many)
    holds = rng.random((students, many)) < hold
    moved = np.where(
        holds[came.student], 0.0, slopes(rng, came, noise, many) + wander(rng, came, noise, many)
    )
    level = start + moved + noise.session_errors(rng, came, many)
    rank = np.argsort(np.argsort(session)) * 3 // students
    thirds = np.array(["steady", "middle", "noisy"])[rank]
    return _world(came, start, moved, noise.swings(rng, came, level), metrics, thirds)


def planted_changes(
    students: int,
    seed: int,
    *,
    worth: tuple[float, ...] = (0.0, 2.0, -2.0, 4.0, -4.0),
    wander_sd: float = 0.0,
) -> SeasonWorld:
    """Each student changes by one of these many smallest worthwhile changes, evenly from first visit to last."""
    rng = np.random.default_rng(seed)
    noise = replace(USUAL, wander=wander_sd)
    came = visits(rng, students)
    size = SWC * rng.permutation(np.resize(worth, students))
    share = came.months / came.months[came.last][came.student]
    moved = (size[came.student] * share)[:, None] + wander(rng, came, noise, 1)
    start = starts(rng, came, noise, 1)
    level = start + moved + noise.session_errors(rng, came, 1)
    return _world(came, start, moved, noise.swings(rng, came, level), ONE)


def holders_who_change(students: int, seed: int) -> SeasonWorld:
    """Every student's true change is two smallest worthwhile changes, one way or the other: nobody holds."""
    return planted_changes(students, seed, worth=(2.0, -2.0))


def heavy_tails(students: int, seed: int) -> SeasonWorld:
    """Sessions and swings err as Student's t with 3 degrees of freedom, of the usual standard deviation."""
    return usual(students, seed, noise=replace(USUAL, tail_df=3.0))


def plateaus(students: int, seed: int) -> SeasonWorld:
    """All of a student's change, N(2, 3²), comes in the first 40 % of their season; then nothing moves."""
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    share = np.minimum(came.months / came.months[came.last][came.student] / 0.4, 1)
    moved = (rng.normal(2, 3, students)[came.student] * share)[:, None]
    start = starts(rng, came, USUAL, 1)
    level = start + moved + USUAL.session_errors(rng, came, 1)
    return _world(came, start, moved, USUAL.swings(rng, came, level), ONE)


def drop_outs(students: int, seed: int) -> SeasonWorld:
    """Whoever sees no gain leaves: from the fifth visit on, the more a student's last two fall short, the likelier."""
    rng, came, start, moved = _came(students, seed, mean_slope=0.3, least=10)
    swings = USUAL.swings(rng, came, start + moved + USUAL.session_errors(rng, came, 1))
    seen = np.bincount(swings.visit, swings.x[:, 0]) / np.bincount(swings.visit)
    kept = np.ones(came.count, dtype=bool)
    for first, last in zip(came.first, came.last, strict=True):
        for row in range(first + 4, last):
            gain = seen[row - 1 : row + 1].mean() - seen[first : first + 2].mean()
            if rng.random() < 0.5 / (1 + np.exp(gain)):
                kept[row + 1 : last + 1] = False
                break
    return _those(came, start, moved, swings, kept)


def device_swapped(students: int, seed: int, *, offset: float = 3.0, share: float = 0.6) -> SeasonWorld:
    """In mid-season a share of the students goes over to another plate, which reads 3 points higher in everything."""
    rng, came, start, moved = _came(students, seed)
    other = (came.day >= DAYS // 2) & (rng.random(students) < share)[came.student]
    level = start + moved + USUAL.session_errors(rng, came, 1) + offset * other[:, None]
    device = np.where(other, "plates", MAT)
    return _world(came, start, moved, USUAL.swings(rng, came, level), ONE, device=device)


def missing_when_poor(students: int, seed: int) -> SeasonWorld:
    """Of a student's poorest third of swings 60 % are not measured, and half of the visits on their poorest days."""
    rng, came, start, moved = _came(students, seed, least=8, most=16)
    off = USUAL.session_errors(rng, came, 1)
    swings = USUAL.swings(rng, came, start + moved + off)
    poor = (swings.x - (start + moved + off)[swings.visit])[:, 0] < -0.43 * 4
    swings.x[poor & (rng.random(poor.size) < 0.6)] = np.nan
    kept = (off[:, 0] > -0.67 * 3) | (rng.random(came.count) < 0.5)
    kept[came.first] = kept[came.last] = True
    return _those(came, start, moved, swings, kept)


def mislabelled_clubs(students: int, seed: int, *, offset: float = 6.0, share: float = 0.1) -> SeasonWorld:
    """One session in ten was swung with a driver, which reads 6 points higher, and is filed as irons."""
    rng, came, start, moved = _came(students, seed)
    wrong = rng.random(came.count) < share
    level = start + moved + USUAL.session_errors(rng, came, 1) + offset * wrong[:, None]
    return _world(came, start, moved, USUAL.swings(rng, came, level), ONE)


def fault_in_some_swings(students: int, seed: int) -> SeasonWorld:
    """In every fourth student a fault shows in some swings, and sets the metric to a place of its own in these.

    Its share of the swings goes evenly in log odds from one half to two thirds to under a tenth, or the other way, or
    stays at 15 to 45 %; from visit to visit it varies by 0.3 in log odds. What is true is the mean over swings with and
    without it. groups: touched or free.
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    noise = Noise(student=3, slope=0.5, wander=0.5, session=1.6, swing=2)
    start = starts(rng, came, noise, 1)
    level = start + slopes(rng, came, noise, 1) + wander(rng, came, noise, 1)
    touched = np.arange(students) % 4 == 0
    often, seldom, held = rng.uniform([[0.5], [0.04], [0.15]], [[0.67], [0.09], [0.45]], (3, students))
    ways = rng.choice(3, students, p=[0.45, 0.15, 0.40])
    ends = [np.choose(ways, of_way) for of_way in ([often, seldom, held], [seldom, often, held])]
    first, last = (np.log(end / (1 - end))[came.student] for end in ends)
    odds = first + (last - first) * came.day / DAYS
    there = -10 - rng.uniform(12, 40, students)[came.student, None]

    def share(odds: np.ndarray) -> np.ndarray:
        return np.where(touched[came.student], 1 / (1 + np.exp(-odds)), 0.0)

    true = level + share(odds)[:, None] * (there - level)
    swings = noise.swings(rng, came, level + noise.session_errors(rng, came, 1))
    hit = rng.random(swings.visit.size) < share(odds + rng.normal(0, 0.3, came.count))[swings.visit]
    swings.x[hit] = there[swings.visit[hit]] + rng.normal(0, 2, (int(hit.sum()), 1))
    return _world(came, start, true - start, swings, ONE, np.where(touched, "touched", "free"))


def mostly_zero(students: int, seed: int, *, zeros: float = 0.97) -> SeasonWorld:
    """A metric that is 0 in nearly every swing, and else 0.5 to 8 points; nobody changes.

    Students differ in how often it is not 0: shares about `zeros`, from Beta(20·zeros, 20·(1 − zeros)).
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    visit = np.repeat(np.arange(came.count), came.swings)
    share = rng.beta(20 * zeros, 20 * (1 - zeros), students)[came.student][visit]
    sizes = np.minimum(0.5 + rng.exponential(1.5, visit.size), 8)
    points = np.where(rng.random(visit.size) < share, 0.0, sizes)
    metric = ("trail_push_off_pct_bw",)
    x = (4.0 - points)[:, None]  # 0 on the metric's own scale is 4 inside its band
    zero = np.zeros((came.count, 1))
    return _world(came, zero, zero, Swings(visit, x), metric)
