"""Films taken at another time than their swings, by the times in files as phones write them (made here)."""

import numpy as np
import pytest

from models.swing.film_times import taken_apart


def phones_files(seed, count, swings=None):
    """When `count` films of `swings` swings were taken by their files, s, when struck on film, and on the plate.

    Whole seconds, of the start or of the end of recording; the phone's clock is off by hours.
    """
    rng = np.random.default_rng(seed)
    made = np.cumsum(rng.uniform(18, 70, swings or count))
    filmed = np.sort(rng.choice(made.size, count, replace=False))
    lead = rng.uniform(1, 4, count)
    began = made[filmed] - lead + rng.uniform(-9000, 9000)
    ends = lead + rng.uniform(0.5, 2.0, count) if seed % 2 else rng.uniform(0, 0.7, count)
    return np.floor(began + ends), lead, made, filmed


def doubted(taken, lead, made, filmed):
    struck = {int(k) + 1: at + late for k, at, late in zip(filmed, taken, lead, strict=True)}
    said = taken_apart(struck, {k + 1: at for k, at in enumerate(made)})
    return np.array([int(k) + 1 in said for k in filmed])


def exchanged(taken, lead, made, filmed, rng):
    one, two = rng.choice(taken.size, 2, replace=False)
    taken[[one, two]] = taken[[two, one]]
    return [one, two]


def of_another_swing(taken, lead, made, filmed, rng):
    """The film of a swing that has none, delivered for one that has."""
    k, other = rng.integers(taken.size), rng.choice(np.setdiff1d(np.arange(made.size), filmed))
    taken[k] += np.round(made[other] - made[filmed[k]])
    return [k]


def of_somebody_before(taken, lead, made, filmed, rng):
    k = rng.integers(taken.size)
    taken[k] = taken.min() - rng.uniform(30, 3600)
    return [k]


def doubts(wrong, fewest, span, swung=None):
    """Which wrong films are doubted, and which of the others, in 60 sessions of `fewest` films or more."""
    found, others = [], []
    for seed in range(60):
        count = fewest + seed % span
        taken, lead, made, filmed = phones_files(seed, count, count + 3)
        at = wrong(taken, lead, made, filmed, np.random.default_rng(seed))
        said = doubted(taken, lead, made if swung is None else np.full(made.size, swung), filmed)
        found += said[at].tolist()
        others += np.delete(said, at).tolist()
    return np.mean(found), np.mean(others)


@pytest.mark.parametrize("wrong", [exchanged, of_another_swing, of_somebody_before])
def test_a_film_taken_at_another_time_is_found_where_the_plates_clock_ran_on(wrong):
    found, others = doubts(wrong, 5, 8)
    assert found >= 0.95
    assert others <= 0.01


@pytest.mark.parametrize("wrong", [exchanged, of_another_swing, of_somebody_before])
def test_where_it_did_not_run_on_their_order_says_it_of_eight_films_or_more(wrong):
    found, others = doubts(wrong, 8, 5, swung=1.7)
    assert found >= 0.7
    assert others <= 0.05


def test_films_that_are_all_delivered_for_the_swing_before_their_own_are_found():
    """A film too many at the start: the next is taken for swing 1, and so on."""
    found = []
    for seed in range(60):
        taken, lead, made, filmed = phones_files(seed, 10)
        found += doubted(taken[1:], lead[1:], made, filmed[:-1]).tolist()
    assert np.mean(found) >= 0.9


def untouched(taken, made, rng):
    return taken


def one_saved_again(taken, made, rng):
    taken[rng.integers(taken.size)] = taken.max() + np.ptp(made) + rng.uniform(60, 9000)
    return taken


def all_saved_again_in_order(taken, made, rng):
    return taken.max() + 600 + np.floor(np.cumsum(rng.uniform(1, 20, taken.size)))


def all_saved_again_in_any_order(taken, made, rng):
    return rng.permutation(all_saved_again_in_order(taken, made, rng))


def cut_by_hand(taken, made, rng):
    """The file says when the long recording began from which the swing was cut."""
    return taken - np.floor(rng.uniform(0, 25, taken.size))


@pytest.mark.parametrize(
    "saved",
    [untouched, one_saved_again, all_saved_again_in_order, all_saved_again_in_any_order, cut_by_hand],
)
@pytest.mark.parametrize("runs_on", [True, False])
def test_true_films_are_not_doubted_however_their_files_were_saved(saved, runs_on):
    said = []
    for seed in range(100):
        taken, lead, made, filmed = phones_files(seed, 4 + seed % 9)
        taken = saved(taken, made, np.random.default_rng(seed))
        said += doubted(taken, lead, made if runs_on else np.full(made.size, 1.7), filmed).tolist()
    assert np.mean(said) <= 0.03


def test_nothing_is_said_of_too_few_films():
    assert taken_apart({}, {}) == set()
    assert taken_apart({1: 0.0, 2: 5.0, 3: 400.0}, {1: 0.0, 2: 60.0, 3: 120.0}) == set()
