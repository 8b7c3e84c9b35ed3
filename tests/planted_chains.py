"""Academies' worth of fault flags per swing, where it is known whether one fault brings on another.

A claim under test says of a student: "in swings with the earlier fault, the later one happens more often". It is
true where the earlier fault is planted as a cause within the swing, and false where both only share something else:
a bad day, a season of teaching, a tired end of the session, a student who is prone to everything.

All rates are planted on the log-odds scale: a fault's own rate, plus what its student, session and place in the
session share, plus the earlier fault's effect where it is present in the same swing.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

CHAINS = (
    ("heels_at_address", "heels_together_back", "toes_together_down", "blocked_turn"),
    ("trail_heel_sink", "late_crossing"),
    ("trail_push", "target_drift"),
)
PAIRS = tuple(pair for chain in CHAINS for pair in pairwise(chain))
FAULTS = tuple(fault for chain in CHAINS for fault in chain)
SEEN_BY_EYE = "blocked_turn"
LOOKED_AT_PCT = 40  # of swings the coach says whether the turn was blocked; the others are null

Pair = tuple[str, str]
StudentPair = tuple[str, str, str]


@dataclass(frozen=True)
class PlantedChainWorld:
    """One row per student, session, swing and fault; `flagged` is null where nobody can say.

    Columns: student_code, session_no and swing_no (from 1), fault_code, flagged. Student pairs are (student_code,
    earlier, later), of PAIRS only.

    `links`: the later fault really happens more often in swings with the earlier one, and because of it.
    `anti_links`: really less often. `undecidable`: the rows left over do not show the truth, so a claim about
    these is neither right nor wrong; of all others a claim against the planted truth is wrong. `indirect`: student
    pairs further apart along a chain of links; these go together too, but none of them is in PAIRS.
    """

    rows: pl.DataFrame
    links: frozenset[StudentPair]
    anti_links: frozenset[StudentPair]
    indirect: frozenset[StudentPair]
    undecidable: frozenset[StudentPair]


@dataclass(frozen=True)
class World:
    """How a world is made; rates in percent, effects in log odds.

    `hold_fixed` is what a comparison has to hold fixed in order not to be misled: "student" (comparing a student's
    swings with each other is enough), "session" (only swings of one session) or "swing_no" (only swings near each
    other in one session).
    """

    description: str
    hold_fixed: str = "student"
    first_pct: float = 30  # each chain's first fault
    later_pct: float = 30  # all others, without the earlier fault
    with_earlier_pct: float | None = None  # a later fault with the earlier one; None: nothing is linked
    linked_share: float = 1.0  # of the students
    unlinked_pct: float = 30  # a later fault of a student without links, in a world that has some
    varied: bool = False  # each student's rate of each fault is its own, from 5 to 80 %
    all_or_none: bool = False  # each student has each fault either always or never
    student_sd: float = 0.0  # shared by all faults of a student
    session_sd: float = 0.0  # shared by all faults of a session
    season_fall: float = 0.0  # from the first session to the last, shared by all faults
    session_rise: float = (
        0.0  # from a session's first swing to its last, shared; half to one and a half times this
    )
    half_time_fall: float = 0.0  # all faults, from the middle of a session on
    missing: str = "no"
    students: int = 24
    sessions: int = 12
    swings: int = 24


WORLDS: dict[str, World] = {
    "cause_40": World(
        "The earlier fault brings on the later one within the swing: 40 % with it, 20 % without. Nothing else.",
        first_pct=40, later_pct=20, with_earlier_pct=40),
    "cause_60": World("As cause_40, but 60 %.", first_pct=40, later_pct=20, with_earlier_pct=60),
    "cause_80": World("As cause_40, but 80 %.", first_pct=40, later_pct=20, with_earlier_pct=80),
    "cause_among_other_things": World(
        "The odds of the later fault are six times as high with the earlier one, and at the same time students "
        "differ, days are good and bad, the season's teaching helps and the end of a session is tired. Only the "
        "first of these is the link.",
        hold_fixed="swing_no", first_pct=40, later_pct=20, with_earlier_pct=60, student_sd=0.6, session_sd=0.6,
        season_fall=1.0, session_rise=0.8),
    "half_of_students": World(
        "The link is there in half of the students, 20 to 60 %. The others have the later fault about as often, "
        "but whether or not the earlier one is there. A claim about the academy as a whole is not a claim about "
        "each student.",
        first_pct=40, later_pct=20, with_earlier_pct=60, linked_share=0.5, unlinked_pct=36),
    "rare_cause": World(
        "The link is there, 20 to 60 %, but the earlier fault only in 2 % of a few swings. Too little to find it: a "
        "rule that says nothing is right, one that says there is no link is wrong.",
        first_pct=2, later_pct=20, with_earlier_pct=60, sessions=3, swings=8),
    "independent": World(
        "All faults are independent, at rates of 5 to 80 % that differ by student and fault.", varied=True),
    "bad_days": World(
        "All faults come and go together by session. Within one session they are independent. Pooled over the "
        "sessions of one student they go together strongly.",
        hold_fixed="session", session_sd=1.5),
    "taught_together": World(
        "Teaching makes all faults rarer over the season, from 70 to 10 %. Within one session they are "
        "independent; pooled over the season they go together.",
        hold_fixed="session", first_pct=70, later_pct=70, season_fall=3.0),
    "prone_students": World(
        "Some students are prone to everything. Within one student the faults are independent; pooled over the "
        "students they go together strongly.",
        student_sd=1.5),
    "fatigue": World(
        "All faults grow with the swing number, from about 11 to 48 % in a usual session, more in some sessions "
        "than in others. At the same swing number of the same session they are independent, so the earlier fault "
        "causes nothing. A comparison within the session alone finds them together. A rule has to hold fixed the "
        "place in the session as well: compare only swings near each other, or fit a slope for each session.",
        hold_fixed="swing_no", first_pct=11, later_pct=11, session_rise=2.0, swings=40),
    "lesson_works": World(
        "From the middle of each session on all faults are rarer, about 50 % before and 12 % after: the coach "
        "corrected both. Independent within each half. As with fatigue, a comparison within the session alone is "
        "misled, and so is one with a straight slope; comparing swings near each other is not, but for the few "
        "on either side of the step.",
        hold_fixed="swing_no", first_pct=50, later_pct=50, half_time_fall=2.0),
    "very_rare": World("All faults in 2 % of a few swings, independent.", first_pct=2, later_pct=2, sessions=3, swings=8),
    "nearly_always": World(
        "All faults in 97 % of a few swings, independent.", first_pct=97, later_pct=97, sessions=3, swings=8),
    "rare_then_common": World(
        "The earlier fault in 3 % of a few swings, the later one in 90 % of them all, independent. The handful of "
        "swings with the earlier one will often all have the later one.",
        first_pct=3, later_pct=90, sessions=3, swings=8),
    "all_or_none": World(
        "Each student has each fault in every swing or in none, so there is never anything to compare.",
        all_or_none=True, sessions=3, swings=8),
    "one_swing_sessions": World(
        "Good and bad days as in bad_days, and one swing in a session: nothing can be compared within a session.",
        hold_fixed="session", session_sd=1.5, sessions=30, swings=1),
    "missing_at_random": World(
        "As cause_60, with 30 % of all flags null at random.",
        first_pct=40, later_pct=20, with_earlier_pct=60, missing="at_random"),
    "missing_at_random_independent": World("Independent, with 30 % of all flags null at random.", missing="at_random"),
    "missing_by_earlier": World(
        "Independent, but the later flag is null in 60 % of swings without the earlier fault and in 10 % of those "
        "with it. Among the swings where both are known there is no link. Reading null as no fault makes one.",
        missing="by_earlier"),
    "missing_by_later": World(
        "Independent, but a later fault is null in 60 % of swings that have it and in 10 % of those that do not. "
        "Its rate comes out too low, with and without the earlier fault alike: no link.",
        missing="by_later"),
    "missing_by_both": World(
        "Independent, but the later flag is null in 70 % of swings with the earlier fault and without the later "
        "one, else in 5 %. The flags that are left go together, and nothing in the rows shows that they should "
        "not. Undecidable: only a rule that asks why flags are missing, or says nothing when more of them are "
        "missing with the earlier fault than without, can avoid the claim.",
        missing="by_both"),
    "noted_only_when_seen": World(
        "As cause_60, but the coach writes down a blocked turn only where it was seen, never that there was none: "
        "blocked_turn is true or null. What leads to it cannot be decided; the other pairs can.",
        first_pct=40, later_pct=20, with_earlier_pct=60, missing="only_when_seen"),
    "looked_at_after_the_earlier": World(
        "Independent, and the coach looks at the turn in 80 % of swings with both feet going to the toes, in 10 % of "
        "the others, and writes down only what was seen: blocked_turn is true or null. Counting null as no fault "
        "makes a link of where the coach looked. What leads to a blocked turn cannot be decided.",
        missing="looked_at_after_the_earlier"),
    "anti_link": World(
        "The earlier fault keeps the later one away: 50 % without it, 20 % with it. No link.",
        first_pct=40, later_pct=50, with_earlier_pct=20),
}  # fmt: skip


def _log_odds(pct):
    share = np.asarray(pct) / 100
    return np.log(share / (1 - share))


def _shared(world: World, shape: tuple[int, int, int], rng: np.random.Generator) -> np.ndarray:
    """What all faults of a swing share, in log odds."""
    students, sessions, swings = shape
    season = np.linspace(0, 1, sessions)[None, :, None]
    place = np.linspace(0, 1, swings)[None, None, :]
    rise = world.session_rise * rng.uniform(0.5, 1.5, (students, sessions, 1))
    return (
        world.student_sd * rng.normal(size=(students, 1, 1))
        + world.session_sd * rng.normal(size=(students, sessions, 1))
        - world.season_fall * season
        + rise * place
        - world.half_time_fall * (place >= 0.5)
    )


def _present(world: World, linked: np.ndarray, shape, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Which faults each swing has, whether or not anybody can say so."""
    shared = _shared(world, shape, rng)
    effect = 0.0
    if world.with_earlier_pct is not None:
        effect = np.where(linked, _log_odds(world.with_earlier_pct) - _log_odds(world.later_pct), 0)[
            :, None, None
        ]
    present: dict[str, np.ndarray] = {}
    for chain in CHAINS:
        for earlier, fault in pairwise((None, *chain)):
            if world.all_or_none:
                present[fault] = np.broadcast_to(rng.random((shape[0], 1, 1)) < 0.5, shape)
                continue
            pct = np.full(shape[0], float(world.later_pct if earlier else world.first_pct))
            if earlier and world.with_earlier_pct is not None:
                pct[~linked] = world.unlinked_pct
            if world.varied:
                pct = rng.uniform(5, 80, shape[0])
            log_odds = _log_odds(pct)[:, None, None] + shared
            if earlier:
                log_odds = log_odds + effect * present[earlier]
            present[fault] = rng.random(shape) < 1 / (1 + np.exp(-log_odds))
    return present


def _known(
    world: World, present: dict[str, np.ndarray], shape, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """Which flags are not null."""
    missing_pct = {fault: np.zeros(shape) for fault in FAULTS}
    looked_at_pct = np.full(shape, LOOKED_AT_PCT)
    for earlier, later in PAIRS:
        if world.missing == "by_earlier":
            missing_pct[later] = np.where(present[earlier], 10, 60)
        elif world.missing == "by_later":
            missing_pct[later] = np.where(present[later], 60, 10)
        elif world.missing == "by_both":
            missing_pct[later] = np.where(present[earlier] & ~present[later], 70, 5)
        elif world.missing == "looked_at_after_the_earlier" and later == SEEN_BY_EYE:
            looked_at_pct = np.where(present[earlier], 80, 10)
    if world.missing == "at_random":
        missing_pct = {fault: np.full(shape, 30) for fault in FAULTS}
    known = {fault: rng.random(shape) * 100 >= missing_pct[fault] for fault in FAULTS}
    known[SEEN_BY_EYE] &= rng.random(shape) * 100 < looked_at_pct
    if world.missing in ("only_when_seen", "looked_at_after_the_earlier"):
        known[SEEN_BY_EYE] &= present[SEEN_BY_EYE]
    return known


def _undecidable(world: World) -> list[Pair]:
    if world.missing == "by_both":
        return list(PAIRS)
    if world.missing in ("only_when_seen", "looked_at_after_the_earlier"):
        return [pair for pair in PAIRS if SEEN_BY_EYE in pair]
    return []


def planted_chain_world(
    name: str,
    *,
    students: int | None = None,
    sessions: int | None = None,
    swings: int | None = None,
    seed: int,
) -> PlantedChainWorld:
    """The world of this name; the sizes (sessions of each student, swings of each session) default to its own."""
    world = WORLDS[name]
    shape = (students or world.students, sessions or world.sessions, swings or world.swings)
    rng = np.random.default_rng(seed)
    linked = np.zeros(shape[0], dtype=bool)
    if world.with_earlier_pct is not None:
        linked[rng.permutation(shape[0])[: round(world.linked_share * shape[0])]] = True
    present = _present(world, linked, shape, rng)
    known = _known(world, present, shape, rng)

    codes = np.array([f"s{n:03}" for n in range(1, shape[0] + 1)])
    student, session, swing = (place.ravel() for place in np.indices(shape))
    keys = {"student_code": codes[student], "session_no": session + 1, "swing_no": swing + 1}
    rows = pl.concat(
        pl.DataFrame(keys).with_columns(
            fault_code=pl.lit(fault),
            flagged=pl.when(pl.Series(known[fault].ravel())).then(pl.Series(present[fault].ravel())),
        )
        for fault in FAULTS
    ).sort("student_code", "session_no", "swing_no", maintain_order=True)

    def of_linked(pairs) -> frozenset[StudentPair]:
        return frozenset((str(code), *pair) for code in codes[linked] for pair in pairs)

    harmful = world.with_earlier_pct is not None and world.with_earlier_pct > world.later_pct
    apart = [(chain[i], later) for chain in CHAINS for i in range(len(chain)) for later in chain[i + 2 :]]
    return PlantedChainWorld(
        rows=rows,
        links=of_linked(PAIRS if harmful else ()),
        anti_links=of_linked(() if harmful else PAIRS),
        indirect=of_linked(apart),
        undecidable=frozenset((str(code), *pair) for code in codes for pair in _undecidable(world)),
    )
