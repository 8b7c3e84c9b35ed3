"""What the times of films say in sessions made without sight of `models/swing/film_times.py`."""

import numpy as np
import pytest

from filed_films import session
from models.swing.film_times import taken_apart


def asked_about(made, runs_on: bool) -> set[int]:
    swung = made.impact_s if runs_on else np.ones_like(made.impact_s)
    struck = made.stamp_s + made.strike_s
    return taken_apart(
        dict(zip(made.film_of.tolist(), struck.tolist(), strict=True)), dict(enumerate(swung.tolist()))
    )


@pytest.mark.parametrize("runs_on", [True, False])
def test_films_saved_again_in_one_go_are_not_doubted(runs_on):
    rng = np.random.default_rng(7)
    assert not any(asked_about(session(rng, 8, copied=True), runs_on) for _ in range(100))


@pytest.mark.parametrize("stamps", ["start", "end"])
@pytest.mark.parametrize("wrong", ["exchanged", "hour_before"])
def test_wrong_films_are_asked_about_beside_a_plate_whose_clock_runs_on(wrong, stamps):
    rng = np.random.default_rng(7)
    found, doubted = [], []
    for _ in range(100):
        made = session(rng, 9, 8, stamps=stamps, wrong=wrong)
        asked = np.isin(made.film_of, list(asked_about(made, True)))
        false = made.truth != made.film_of
        found.extend(asked[false])
        doubted.extend(asked[~false])
    assert np.mean(found) >= 0.9
    assert np.mean(doubted) <= 0.05


def test_films_of_a_second_phone_are_not_doubted_for_its_clock():
    rng = np.random.default_rng(7)
    sessions = [session(rng, 12, offset_s=[0.0, offset], phones=2) for offset in (-5.0, 40.0, 3600.0) * 60]
    doubted = sum(len(asked_about(made, True)) for made in sessions)
    assert doubted <= 0.02 * sum(made.film_of.size for made in sessions)
