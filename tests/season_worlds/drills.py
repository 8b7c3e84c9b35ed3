"""Worlds of drills: given on bad days, to the keen, or by random draw; worth something or nothing."""

from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np
import polars as pl

from season_worlds.academy import (
    ONE,
    START,
    Noise,
    SeasonWorld,
    Swings,
    Visits,
    code,
    session_names,
    slopes,
    starts,
    tables,
    visits,
    wander,
)

USUAL = Noise()
METRIC = ONE[0]


@dataclass
class Given:
    """Doses and draws as they are noted, row by row."""

    names: np.ndarray  # of the visits' sessions
    came: Visits
    doses: list[dict] = field(default_factory=list)
    draws: list[dict] = field(default_factory=list)

    def _note(self, visit: int, day: int, drill: str, word: str, minutes: int) -> dict:
        student = code(int(self.came.student[visit]))
        at = START + timedelta(days=int(day), minutes=480 + minutes)  # after every session of the day
        return {"note": f"{word}-{student}-{day}-{drill}", "student": student, "at": at, "day": at.date()}

    def lesson(self, visit: int, drill: str) -> None:
        """A coach sets a drill in the lesson of this visit."""
        note = self._note(visit, int(self.came.day[visit]), drill, "drill", 30)
        self.doses.append(
            note | {"session": str(self.names[visit]), "drill": drill, "kind": "drill", "place": "lesson"}
        )

    def home(self, visit: int, day: int, drill: str) -> None:
        """Practised at home on a day after this visit."""
        note = self._note(visit, day, drill, "practice", 40)
        self.doses.append(
            note
            | {
                "session": None,
                "drill": drill,
                "kind": "practice",
                "place": "home",
                "dose": 20.0,
                "unit": "reps",
            }
        )

    def drawn(self, visit: int, won: str, lost: str) -> None:
        """A draw at this visit: the plan note it leaves, and the drill set at once."""
        note = self._note(visit, int(self.came.day[visit]), won, "plan", 20)
        self.draws.append(
            note | {"kind": "plan", "code": won, "drawn_against": lost, "author": "c01", "shared": True,
                    "delivery": "d", "loose": True}
        )  # fmt: skip
        self.lesson(visit, won)

    def tables(self, drills: list[str]) -> dict[str, pl.DataFrame]:
        """academy.drill, academy.drill_dose and academy.note."""
        made = {
            "academy.drill": pl.DataFrame({"drill": drills, "name": drills, "aim": METRIC}),
            "academy.drill_dose": pl.DataFrame(self.doses, infer_schema_length=None),
        }
        if self.draws:
            made["academy.note"] = pl.DataFrame(self.draws, infer_schema_length=None)
        return {table: rows for table, rows in made.items() if len(rows)}


def _truth(kept: dict[str, float], on_the_day: float = 0.0) -> pl.DataFrame:
    return pl.DataFrame(
        [(d, k, on_the_day) for d, k in kept.items()], ["drill", "kept", "on_the_day"], orient="row"
    )


def bad_days(
    students: int,
    seed: int,
    *,
    noise: float = 1.0,
    lasting: float = 1.0,
    on_the_day: float = 0.0,
    kept: float = 0.0,
) -> SeasonWorld:
    """A drill given the likelier, the worse the day's baseline is against the student's own past.

    Four visits in five with a drill are measured again after it, half of those without one are measured again with
    none. `lasting` is the share of the variance of the day's form that is the same before and after; `noise`
    multiplies session and swing errors. The drill adds `on_the_day` to what follows it, and `kept` from the next
    visit on.
    """
    rng = np.random.default_rng(seed)
    usual = replace(USUAL, session=3 * noise, swing=4 * noise)
    came = visits(rng, students)
    true = starts(rng, came, usual, 1) + slopes(rng, came, usual, 1) + wander(rng, came, usual, 1)
    form = np.sqrt(lasting) * usual.session_errors(rng, came, 1)
    before, after = (form + np.sqrt(1 - lasting) * usual.session_errors(rng, came, 1) for _ in range(2))
    swings = usual.swings(rng, came, true + before)
    again = usual.swings(rng, came, true + after)
    seen = np.bincount(swings.visit, swings.x[:, 0]) / came.swings
    given = Given(session_names(came), came)
    drilled, had = np.zeros(came.count, dtype=bool), np.zeros(came.count, dtype=bool)
    sd = noise * np.sqrt(9 + 16 / 10)
    for first, last in zip(came.first, came.last, strict=True):
        gained, past = 0.0, []
        for row in range(first, last + 1):
            had[row] = gained > 0
            bad = (np.mean(past) if past else -10.0) - (seen[row] + gained * kept)
            past.append(seen[row] + gained * kept)
            if rng.random() < 1 / (1 + np.exp(-1.5 * bad / sd)):
                given.lesson(row, "d1")
                drilled[row], gained = True, 1.0
    measured_again = rng.random(came.count) < np.where(drilled, 0.8, 0.5)
    swings.x[:, 0] += (kept * had)[swings.visit]
    again.x[:, 0] += (kept * had + on_the_day * drilled)[again.visit]
    some = measured_again[again.visit]
    after_drill = Swings(
        again.visit[some], again.x[some], "after_drill", np.where(drilled[again.visit[some]], "d1", "")
    )
    return SeasonWorld(
        tables(came, ONE, [swings, after_drill]) | given.tables(["d1"]),
        drills=_truth({"d1": kept}, on_the_day),
    )


def keen(
    students: int,
    seed: int,
    *,
    worth: float = 0.0,
    doses: str = "group",
    flatten: bool = False,
    drills: int = 1,
) -> SeasonWorld:
    """The keen gain faster by themselves, and are given a drill more often; it adds `worth` from the next visit on.

    doses: "group": only the keener half is ever given it; "follow": how often follows keenness; "unrelated": it has
    nothing to do with it. Slopes have the usual spread, 3/4 of its variance from keenness. `flatten`: gains come as
    1 − e^(−t/1.5 months) and not evenly. With two `drills` each dose is of either.
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    keenness = rng.normal(size=students)
    slope = USUAL.slope * (np.sqrt(0.75) * keenness + 0.5 * rng.normal(size=students))
    time = 3 * (1 - np.exp(-came.months / 1.5)) if flatten else came.months
    moved = (slope[came.student] * time)[:, None] + wander(rng, came, USUAL, 1)
    level = starts(rng, came, USUAL, 1) + moved + USUAL.session_errors(rng, came, 1)
    swings = USUAL.swings(rng, came, level)
    often = {
        "group": np.where(keenness > 0, 0.6, 0.0),
        "follow": 1 / (1 + np.exp(-1.5 * keenness)) * 0.8,
        "unrelated": np.full(students, 0.4),
    }[doses]
    practised = {"group": keenness > 0, "follow": np.exp(keenness), "unrelated": np.ones(students)}[doses]
    names = [f"d{k + 1}" for k in range(drills)]
    given = Given(session_names(came), came)
    had_before = np.zeros(came.count)
    for student, (first, last) in enumerate(zip(came.first, came.last, strict=True)):
        had: set[str] = set()
        for row in range(first, last + 1):
            had_before[row] = len(had)
            if rng.random() < often[student]:
                drill = str(rng.choice(names))
                given.lesson(row, drill)
                had.add(drill)
            if had and row < last:
                between = np.arange(came.day[row] + 1, came.day[row + 1])
                days = rng.random(between.size) < np.minimum(0.1 * practised[student], 0.5)
                for day in between[days]:
                    given.home(row, int(day), str(rng.choice(sorted(had))))
    swings.x[:, 0] += worth * had_before[swings.visit]
    return SeasonWorld(
        tables(came, ONE, [swings]) | given.tables(names), drills=_truth(dict.fromkeys(names, worth))
    )


def drawn(
    students: int, seed: int, *, apart: float = 0.0, comply: float = 0.8, coaches: int = 4
) -> SeasonWorld:
    """Two drills drawn at random for each student once, in blocks of two or four within a coach.

    The question arises at the first visit from the third on that is worse than the student's past mean. `d1` adds
    `apart` from the next visit on in those who comply; `d2` adds nothing. Half of the later lessons repeat the drill.
    """
    rng = np.random.default_rng(seed)
    came = visits(rng, students)
    true = starts(rng, came, USUAL, 1) + slopes(rng, came, USUAL, 1, mean=0.3) + wander(rng, came, USUAL, 1)
    swings = USUAL.swings(rng, came, true + USUAL.session_errors(rng, came, 1))
    seen = np.bincount(swings.visit, swings.x[:, 0]) / came.swings
    given = Given(session_names(came), came)
    waiting: dict[int, list[str]] = {coach: [] for coach in range(coaches)}
    asked, added = np.empty(students, dtype=int), np.zeros(came.count)
    for student, (first, last) in enumerate(zip(came.first, came.last, strict=True)):
        worse = [row for row in range(first + 2, last - 1) if seen[row] < seen[first:row].mean()]
        asked[student] = worse[0] if worse else last - 2
    for student in np.argsort(came.day[asked], kind="stable"):
        block = waiting[student % coaches]
        if not block:
            block += list(rng.permutation(["d1", "d2"] * int(rng.integers(1, 3))))
        won = str(block.pop())
        given.drawn(int(asked[student]), won, "d2" if won == "d1" else "d1")
        later = range(asked[student] + 1, came.last[student] + 1)
        added[later] = apart if won == "d1" and rng.random() < comply else 0.0
        for row in later:
            if rng.random() < 0.5:
                given.lesson(row, won)
    swings.x[:, 0] += added[swings.visit]
    contrast = pl.DataFrame({"drill": ["d1"], "against": ["d2"], "apart": [apart * comply]})
    return SeasonWorld(
        tables(came, ONE, [swings], coaches=coaches) | given.tables(["d1", "d2"]),
        drills=_truth({"d1": apart * comply, "d2": 0.0}),
        contrasts=contrast,
    )
