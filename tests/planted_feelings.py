"""What players felt beside what was measured, where it is known whether the two agree more often than they did.

A claim under test says of a student: "what the player felt agrees with what was measured more often now than
before". It is true where agreement is planted to rise, and false where it stays: because the player always says yes,
answers at random, or was right all along. Where days differ, the answers of one day are no independent witnesses.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

SEASON_DAYS = 180


@dataclass(frozen=True)
class PlantedFeelings:
    """One row per answer: student_code, session_no (from 1), session_day (from 0), answer_no, felt, measured.

    `measured` is null where nothing was measured beside the answer.
    """

    answers: pl.DataFrame


@dataclass(frozen=True)
class World:
    """How a world is made: rates in percent at the first and the last session, on a line between.

    `agreement` is what the claim is about: rises, falls, stays, or undecidable where the answers are too few to show
    what was planted. `feeling` says whether the player has learnt to tell: in some worlds agreement rises although
    the player's answers have nothing to do with the swing.
    """

    description: str
    agreement: str = "stays"
    feeling: str = "stays"
    agree_pct: tuple[float, float] | None = None  # the answer is what was measured; None: see yes_pct
    yes_pct: float = 50  # of answers, whatever was measured
    measured_pct: tuple[float, float] = (50, 50)
    day_sd: float = 0.0  # of a session's agreement, in log odds
    missing_pct: float = 0
    sessions: int = 12
    answers: int = 4  # of a session
    last_answers: int | None = None  # of a session in the last third of the season
    students: int = 60


WORLDS: dict[str, World] = {
    "always_yes": World("Always yes; half of the swings were. They agree half of the time, all season.", yes_pct=100),
    "unrelated": World("Yes and no at random."),
    "mostly_yes_unrelated": World("Yes nine times in ten, whatever happened, and 80 % of swings were.", yes_pct=90,
        measured_pct=(80, 80)),
    "high_throughout": World("Right nine times in ten, from the first session on.", agree_pct=(90, 90)),
    "nearly_perfect": World("Right 98 times in a hundred, all season.", agree_pct=(98, 98)),
    "middling_throughout": World("Right 70 times in a hundred, all season.", agree_pct=(70, 70)),
    "middling_while_the_swing_changes": World(
        "Right 70 times in a hundred, all season, whatever happened; the swing itself improves from 20 to 90 %.",
        agree_pct=(70, 70), measured_pct=(20, 90)),
    "rising": World("From 40 to 95 %.", agreement="rises", feeling="rises", agree_pct=(40, 95)),
    "falling": World("From 95 to 40 %.", agreement="falls", feeling="falls", agree_pct=(95, 40)),
    "always_yes_while_the_swing_improves": World(
        "Always yes; the swing improves from 20 to 90 %. They agree more often, although the player feels nothing.",
        agreement="rises", yes_pct=100, measured_pct=(20, 90)),
    "unrelated_while_the_swing_improves": World(
        "Yes nine times in ten, whatever happened; the swing improves from 20 to 90 %. They agree more often, "
        "although the player feels nothing.", agreement="rises", yes_pct=90, measured_pct=(20, 90)),
    "days_differ": World(
        "Right 70 times in a hundred on average, on some days nearly always and on others hardly ever. Whoever "
        "counts the answers of a day as independent claims a lot.", agree_pct=(70, 70), day_sd=1.5, answers=8),
    "few_answers": World("Right half of the time; one answer in each of four sessions.", agree_pct=(50, 50),
        sessions=4, answers=1),
    "few_answers_rising": World("From 40 to 95 %, one answer in each of four sessions: too few to show it.",
        agreement="undecidable", feeling="rises", agree_pct=(40, 95), sessions=4, answers=1),
    "few_answers_now": World("Right 70 times in a hundred; in the last third of the season one answer in a session.",
        agree_pct=(70, 70), answers=8, last_answers=1),
    "often_unmeasured": World("Right 70 times in a hundred; nothing was measured beside half of the answers.",
        agree_pct=(70, 70), missing_pct=50, answers=6),
    "one_session": World("All in one session: there is no before.", agree_pct=(60, 60), sessions=1, answers=12),
}  # fmt: skip


def _line(ends: tuple[float, float], sessions: int) -> np.ndarray:
    return np.linspace(*ends, sessions)[None, :, None] / 100


def planted_feelings(name: str, *, students: int | None = None, seed: int) -> PlantedFeelings:
    """The world of this name."""
    world = WORLDS[name]
    most = max(world.answers, world.last_answers or 0)
    shape = (students or world.students, world.sessions, most)
    rng = np.random.default_rng(seed)
    measured = rng.random(shape) < _line(world.measured_pct, world.sessions)
    if world.agree_pct is None:
        felt = rng.random(shape) < world.yes_pct / 100
    else:
        share = _line(world.agree_pct, world.sessions)
        odds = share / (1 - share) * np.exp(world.day_sd * rng.normal(size=(*shape[:2], 1)))
        felt = measured == (rng.random(shape) < odds / (1 + odds))
    known = rng.random(shape) * 100 >= world.missing_pct

    student, session, answer = (place.ravel() for place in np.indices(shape))
    days = np.sort(
        rng.permuted(np.tile(np.arange(SEASON_DAYS), (shape[0], 1)), axis=1)[:, : world.sessions], axis=1
    )
    late = session >= world.sessions * 2 / 3
    asked = answer < np.where(late, world.last_answers or world.answers, world.answers)
    rows = pl.DataFrame(
        {
            "student_code": np.array([f"s{n:03}" for n in range(1, shape[0] + 1)])[student],
            "session_no": session + 1,
            "session_day": days[student, session],
            "answer_no": answer + 1,
            "felt": felt.ravel(),
        }
    ).with_columns(measured=pl.when(pl.Series(known.ravel())).then(pl.Series(measured.ravel())))
    return PlantedFeelings(rows.filter(pl.Series(asked)))
