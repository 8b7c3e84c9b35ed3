"""An invented academy whose drills are each worth what was planted, and the advice that comes of it.

Each drill has a measure of its own, so what one is worth says nothing of another. Who is given a drill, and when,
is drawn by lot; what it is worth comes with its first dose and stays.
"""

from datetime import date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from models.season.drill import drill_rows
from warehouse.home import Home
from warehouse.store import writer

START = datetime(2026, 3, 2, 9, 0)  # noqa: DTZ001 - UTC without a zone, as in the warehouse
STUDENTS, VISITS, APART_DAYS, SWINGS = 40, 9, 16, 10
BETWEEN, BETWEEN_VISITS, BETWEEN_SWINGS = 10.0, 1.0, 3.0  # standard deviations, %
WORTH = 8.0  # of the drill that works, %

# drill: students given it, doses each, how many times the visits' usual scatter its measure has
GIVEN = {
    "brushing": (20, 3, 1.0),
    "leaning": (20, 3, 1.0),
    "hopping": (3, 1, 1.0),
    "humming": (10, 2, 4.0),
    "rocking": (10, 2, 4.0),
}
TWINS, UNSURE = ("brushing", "leaning"), ("humming", "rocking")


def fill(writer, rng: np.random.Generator, worth: dict[str, float]) -> None:
    write = writer.append
    last = START + timedelta(days=VISITS * APART_DAYS)
    write("academy.season", pl.DataFrame({"season": ["s"], "from": [START.date()], "to": [last.date()]}))
    measures = [f"{drill}_pct" for drill in GIVEN]
    write(
        "academy.metric",
        pl.DataFrame({"metric": measures, "label": measures}).with_columns(
            unit=pl.lit("%"), explain=pl.lit("made up"), better=pl.lit("up"), decimals=pl.lit(1),
            phase=pl.lit("back"), core=pl.lit(True), followed=pl.lit(True), needs_heel=pl.lit(False),
            position=pl.lit(1),
        ),
    )  # fmt: skip
    write(
        "academy.drill",
        pl.DataFrame({"drill": list(GIVEN), "name": list(GIVEN), "aim": measures}),
    )
    people = [f"p{k:02}" for k in range(STUDENTS)]
    write(
        "academy.person",
        pl.DataFrame({"person": people, "display_name": people, "born": date(1990, 5, 1)}).with_columns(
            role=pl.lit("student"), level=pl.lit("club")
        ),
    )
    begun = [
        [START + timedelta(days=int(k * APART_DAYS + rng.integers(0, 6))) for k in range(VISITS)]
        for _ in people
    ]
    for drill, (n, doses, scatter) in GIVEN.items():
        first = dict(zip(rng.choice(STUDENTS, n, replace=False), rng.integers(1, 5, n), strict=True))
        write(
            "season.session_metric",
            pl.DataFrame(means(rng, drill, people, begun, first, worth[drill], scatter)),
        )
        write(
            "academy.drill_dose",
            pl.DataFrame(
                [
                    {
                        "note": f"{drill}-{who}-{k}", "student": people[who], "session": f"{people[who]}-{at + k}",
                        "drill": drill, "at": begun[who][at + k] + timedelta(hours=1),
                        "day": begun[who][at + k].date(), "kind": "drill", "place": "lesson",
                    }
                    for who, at in first.items()
                    for k in range(doses)
                ]
            ),
        )  # fmt: skip


def means(rng, drill, people, begun, first, worth, scatter) -> list[dict]:
    """A visit's mean of the drill's measure: the student's own level, what is kept, the day's form, ten swings."""
    rows = []
    for who, student in enumerate(people):
        level = rng.normal(50, BETWEEN)
        for k, at in enumerate(begun[who]):
            kept = worth if k > first.get(who, VISITS) else 0.0
            form = rng.normal(0, scatter * BETWEEN_VISITS) + rng.normal(0, BETWEEN_SWINGS / np.sqrt(SWINGS))
            rows.append(
                {
                    "session": f"{student}-{k}", "student": student, "coach": "c1", "season": "s",
                    "started_at": at, "day": at.date(), "club_family": "iron", "part": "baseline",
                    "pace": "full", "device": "mat", "heel_source": "none", "metric": f"{drill}_pct",
                    "mean": level + kept + form, "sd": BETWEEN_SWINGS, "n": SWINGS,
                }
            )  # fmt: skip
    return rows


def advised(opened, seed: int, worth: dict[str, float]) -> dict[str, dict]:
    fill(opened, np.random.default_rng([seed, 5]), worth)
    effects = drill_rows(opened).effect
    return {row["drill"]: row for row in effects.iter_rows(named=True)}


SEEDS = range(5)


def worth_of(seed: int) -> dict[str, float]:
    """Every other academy has the drill that works and the worthless one the other way round."""
    works, idles = ("brushing", "leaning") if seed % 2 else ("leaning", "brushing")
    return {works: WORTH, idles: 0.0, "hopping": WORTH} | dict.fromkeys(UNSURE, 1.0)


@pytest.fixture(scope="module")
def academies(tmp_path_factory) -> list[tuple[dict[str, float], dict[str, dict]]]:
    """What each of five academies' drills are worth, and their rows of season.drill_effect."""
    found = []
    for seed in SEEDS:
        home = tmp_path_factory.mktemp("drills")
        (home / "academy.toml").write_text('name = "Invented"\ntime_zone = "Europe/Berlin"\n')
        with writer(Home(home)) as opened:
            found.append((worth_of(seed), advised(opened, seed, worth_of(seed))))
    return found


def test_the_drill_that_works_is_kept_in_every_academy(academies):
    for worth, rows in academies:
        works = next(drill for drill in TWINS if worth[drill])
        assert (rows[works]["label"], rows[works]["advice"]) == ("helps", "keep")
        assert abs(rows[works]["kept"] - WORTH) < WORTH / 2


def test_its_worthless_twin_is_never_kept_and_not_to_be_tried_on(academies):
    advice = []
    for worth, rows in academies:
        idles = next(drill for drill in TWINS if not worth[drill])
        assert rows[idles]["n_doses"] >= 40
        advice.append(rows[idles]["advice"])
    assert {"stop"} <= {*advice} <= {"stop", "change"}


def test_three_doses_are_too_few_even_of_a_drill_that_works(academies):
    for _, rows in academies:
        assert rows["hopping"]["n_doses"] == 3
        assert (rows["hopping"]["label"], rows["hopping"]["advice"]) == ("too_little_data", "try")


def test_a_drill_whose_worth_drowns_in_the_scatter_is_to_be_tried_on(academies):
    """At these limits chance settles one in ten before its time."""
    advice = [rows[drill]["advice"] for _, rows in academies for drill in UNSURE]
    assert advice.count("try") >= 0.8 * len(advice)
