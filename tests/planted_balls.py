"""Seasons of shots in which it is known what changed about the ball: carry, its spread, direction, quality of strike.

A claim under test says of a student and an outcome: "it has changed over the season, by so much", with a 90 %
interval. It is true where a change is planted in the player, and false where the season only looks that way: days
differ, sessions are of another size, one session was odd, another club was hit, some readings are missing.

Outcomes, each as it would be known with endless shots of one session: carry_m, the mean carry; carry_spread_m and
side_spread_m, the standard deviation about that session's own mean; strike_ratio, ball speed over club speed. A
planted change is a straight line over the days from a student's first session to the last, unless it is a step.
"""

from dataclasses import dataclass, field

import numpy as np
import polars as pl

OUTCOMES = ("carry_m", "carry_spread_m", "side_spread_m", "strike_ratio")
FAMILY, CLUB, LONGER_CLUB = "iron", "7-iron", "5-iron"
LONGER_BY_M = 22.0  # what the longer club carries more, in the same hands
SEASON_DAYS = 180
SPREADS = {"carry_spread_m": 9.0, "side_spread_m": 11.0}


@dataclass(frozen=True)
class PlantedBallWorld:
    """One row per shot. `truth` has one row per student and outcome.

    Columns of shots: student_code, club_family, club, session_no (from 1), session_day (from 0), shot_no (from 1),
    carry_m, side_m, ball_speed_m_s, club_speed_m_s; the last four null where there is no reading.
    Columns of truth: student_code, outcome, change (last session against first), straight (whether it came evenly,
    so that the change of a fitted line is this change).
    """

    shots: pl.DataFrame
    truth: pl.DataFrame


@dataclass(frozen=True)
class World:
    """How a world is made; lengths in metres, speeds in metres a second."""

    description: str
    change: dict[str, float] = field(default_factory=dict)  # by outcome; those left out stay the same
    changed_share: float = 1.0  # of the students
    step: bool = False  # the change comes at once in mid-season
    sessions: tuple[int, int] = (10, 14)
    shots: tuple[int, int] = (12, 20)
    more_shots_later: bool = False  # from the fewest to the most over the season
    day_sd: dict[str, float] = field(
        default_factory=lambda: {"carry_m": 3.0, "side_m": 3.0, "strike_ratio": 0.01}
    )  # of a session's own level about the season's line
    day_spread_log_sd: float = 0.1  # of a session's own spread
    own_spread: tuple[float, float] = (1.0, 1.0)  # each student's spreads are so many times the usual
    tail_df: float | None = None  # of Student's t for carry and side; None: normal
    odd: str = "none"  # none | any | last: one session with a level and a spread of its own
    club_change: str = "none"  # none | at_once | by_and_by
    missing: str = "none"  # none | club_speed_of_poor_strikes | carry_of_short_balls
    students: int = 40


WORLDS: dict[str, World] = {
    "same": World("Nothing changes; a session's level is off by a few metres."),
    "different_days": World(
        "Nothing changes, and days differ more than shots of one day do. Whoever counts shots as if they were "
        "independent claims a lot.",
        day_sd={"carry_m": 10.0, "side_m": 10.0, "strike_ratio": 0.03}, day_spread_log_sd=0.35),
    "longer": World("Carry grows by 12 m; nothing else changes.", change={"carry_m": 12.0}),
    "shorter": World("Carry falls by 12 m; nothing else changes.", change={"carry_m": -12.0}),
    "tighter": World(
        "Spread of carry falls from 9 to 5 m, to the side from 11 to 6 m. Carry and strike stay.",
        change={"carry_spread_m": -4.0, "side_spread_m": -5.0}),
    "wider": World(
        "Spread of carry grows from 9 to 14 m, to the side from 11 to 17 m.",
        change={"carry_spread_m": 5.0, "side_spread_m": 6.0}),
    "purer": World("Ball speed over club speed grows by 0.06.", change={"strike_ratio": 0.06}),
    "half_longer": World("Carry grows by 15 m in half of the students.", change={"carry_m": 15.0}, changed_share=0.5),
    "longer_at_once": World(
        "Carry grows by 12 m from one session to the next in mid-season. Only the direction of a line's change is "
        "known.", change={"carry_m": 12.0}, step=True),
    "odd_session": World(
        "Nothing changes; one session, whichever, is 30 m short and three times as wide: wind, or another "
        "device.", odd="any"),
    "odd_last_session": World("As odd_session, and it is the last one.", odd="last"),
    "few_sessions": World("Nothing changes; two to four sessions of a few shots.", sessions=(2, 4), shots=(5, 8)),
    "few_shots": World("Nothing changes; many sessions of three or four shots.", sessions=(14, 20), shots=(3, 4)),
    "more_shots_later": World(
        "Nothing changes; sessions grow from 3 to 30 shots. The spread of three shots comes out too small on "
        "average, so a spread that is not corrected seems to grow.", shots=(3, 30), more_shots_later=True),
    "heavy_tails": World(
        "Nothing changes; tops and thins: shots come from Student's t with 2.5 degrees of freedom.", tail_df=2.5),
    "another_club": World(
        "Nothing changes in the player, who takes a club 22 m longer, of the same family, from mid-season on.",
        club_change="at_once"),
    "more_of_another_club": World(
        "Nothing changes in the player. Both clubs are hit in every session, the longer one ever more often; all "
        "together, carry grows, and its spread grows and falls.", club_change="by_and_by"),
    "poor_strikes_unread": World(
        "Nothing changes. Club speed is missing for 60 % of the poorer half of strikes and 10 % of the better, all "
        "season alike: the ratio comes out too high, and does not change.", missing="club_speed_of_poor_strikes"),
    "short_balls_unread": World(
        "Nothing changes. Carry is missing for most of the shortest fifth of shots, all season alike.",
        missing="carry_of_short_balls"),
    "noisy_and_steady": World(
        "Nothing changes; one student spreads shots a third as far as usual, another three times as far.",
        own_spread=(0.33, 3.0)),
    "noisy_and_steady_longer": World(
        "As noisy_and_steady, and carry grows by 12 m in half of the students.",
        change={"carry_m": 12.0}, changed_share=0.5, own_spread=(0.33, 3.0)),
}  # fmt: skip


def _standard(world: World, shape, rng: np.random.Generator) -> np.ndarray:
    """Deviations of one shot from its session; of standard deviation 1."""
    if world.tail_df is None:
        return rng.normal(size=shape)
    return rng.standard_t(world.tail_df, shape) / np.sqrt(world.tail_df / (world.tail_df - 2))


def _season(
    world: World, students: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Each student's session days, null after the last session; how far the season has come there; shots."""
    most = world.sessions[1]
    day = np.full((students, most), np.nan)
    shots = np.zeros((students, most), dtype=int)
    for student in range(students):
        n = rng.integers(*world.sessions, endpoint=True)
        day[student, :n] = np.sort(rng.choice(SEASON_DAYS, n, replace=False))
        few, many = world.shots
        of_each = np.linspace(few, many, n) if world.more_shots_later else rng.integers(few, many + 1, n)
        shots[student, :n] = np.round(of_each)
    first, last = np.nanmin(day, axis=1, keepdims=True), np.nanmax(day, axis=1, keepdims=True)
    return day, (day - first) / (last - first), shots


def planted_ball_world(name: str, *, students: int | None = None, seed: int) -> PlantedBallWorld:
    """The world of this name."""
    world = WORLDS[name]
    count = students or world.students
    rng = np.random.default_rng(seed)
    day, progress, shots = _season(world, count, rng)
    changed = np.zeros(count, dtype=bool)
    changed[rng.permutation(count)[: round(world.changed_share * count)]] = True
    come = np.where(np.isnan(progress), 0, (progress >= 0.5) if world.step else progress)

    def planted(outcome: str) -> np.ndarray:
        return world.change.get(outcome, 0.0) * changed[:, None] * come

    own = np.exp(rng.uniform(*np.log(world.own_spread), (count, 1)))
    factor = {s: np.exp(rng.normal(0, world.day_spread_log_sd, day.shape)) for s in SPREADS}
    spread = {s: (usual * own + planted(s)) * factor[s] for s, usual in SPREADS.items()}
    level = {
        "carry_m": rng.normal(140, 12, (count, 1)) + planted("carry_m"),
        "side_m": rng.normal(0, 4, (count, 1)) + np.zeros(day.shape),
        "strike_ratio": rng.normal(1.32, 0.02, (count, 1)) + planted("strike_ratio"),
    }
    level = {key: value + rng.normal(0, world.day_sd[key], day.shape) for key, value in level.items()}
    if world.odd != "none":
        n = (~np.isnan(day)).sum(axis=1)
        which = n - 1 if world.odd == "last" else rng.integers(0, n)
        level["carry_m"][np.arange(count), which] -= 30
        for s in SPREADS:
            spread[s][np.arange(count), which] *= 3

    student, session = np.repeat(np.indices(day.shape).reshape(2, -1), shots.ravel(), axis=1)
    shot_no = np.concatenate([np.arange(1, n + 1) for n in shots.ravel()])
    at = (student, session)
    size = len(student)
    share_of_longer = {
        "none": np.zeros(day.shape),
        "at_once": np.where(np.nan_to_num(progress) >= 0.5, 1.0, 0.0),
        "by_and_by": 0.1 + 0.8 * np.nan_to_num(progress),
    }[world.club_change]
    longer = rng.random(size) < share_of_longer[at]
    off = _standard(world, size, rng)
    carry = level["carry_m"][at] + spread["carry_spread_m"][at] * off + LONGER_BY_M * longer
    side = level["side_m"][at] + spread["side_spread_m"][at] * _standard(world, size, rng)
    club_speed = rng.normal(36, 2, (count, 1))[student, 0] + rng.normal(0, 0.6, size)
    strike = rng.normal(0, 0.03, size)
    ball_speed = club_speed * (level["strike_ratio"][at] + strike)
    unread = rng.random(size)
    no_club_speed = np.zeros(size, dtype=bool)
    no_carry = carry < 5  # a ball that hardly left the ground
    if world.missing == "club_speed_of_poor_strikes":
        no_club_speed = unread < np.where(strike < 0, 0.6, 0.1)
    elif world.missing == "carry_of_short_balls":
        no_carry |= (off < -0.84) & (unread < 0.8)

    codes = np.array([f"s{n:03}" for n in range(1, count + 1)])
    rows = pl.DataFrame(
        {
            "student_code": codes[student],
            "club_family": [FAMILY] * size,
            "club": np.where(longer, LONGER_CLUB, CLUB),
            "session_no": session + 1,
            "session_day": day[at].astype(int),
            "shot_no": shot_no,
            "carry_m": np.where(no_carry, np.nan, carry),
            "side_m": np.where(no_carry, np.nan, side),
            "ball_speed_m_s": ball_speed,
            "club_speed_m_s": np.where(no_club_speed, np.nan, club_speed),
        }
    ).with_columns(pl.col(pl.Float64).fill_nan(None))
    truth = pl.DataFrame(
        [
            (str(code), outcome, world.change.get(outcome, 0.0) * float(moved), not world.step)
            for code, moved in zip(codes, changed, strict=True)
            for outcome in OUTCOMES
        ],
        schema=["student_code", "outcome", "change", "straight"],
        orient="row",
    )
    return PlantedBallWorld(rows, truth)
