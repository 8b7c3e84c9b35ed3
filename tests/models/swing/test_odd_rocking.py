"""The planted stands of a person who rocks to find their steady place are what their descriptions say."""

import numpy as np
import pytest

from odd_rocking import GRAVITY, WORLDS, rocking_person

SETTLING = [name for name, world in WORLDS.items() if world.fades and not world.drift_pct_per_s]


def still(stand):
    return (stand.t_s >= stand.still_from_s) & (stand.t_s <= stand.still_to_s)


def narrowest_range(along, width):
    """The smallest range of the moving quarter-second mean over any stretch of so many samples."""
    smooth = np.convolve(along, np.full(25, 0.04), mode="valid")
    windows = np.lib.stride_tricks.sliding_window_view(smooth, width)
    return (windows.max(axis=1) - windows.min(axis=1)).min()


@pytest.mark.parametrize("name", WORLDS)
def test_a_stand_carries_body_weight_and_is_the_same_for_the_same_seed(name):
    person, again = rocking_person(name, seed=1), rocking_person(name, seed=1)
    assert len(person.stands) == WORLDS[name].stands
    for stand, same in zip(person.stands, again.stands, strict=True):
        assert np.array_equal(stand.lead_along_pct, same.lead_along_pct, equal_nan=True)
        assert np.mean(stand.lead_n + stand.trail_n) == pytest.approx(person.body_mass_kg * GRAVITY, rel=0.01)
        assert np.isnan(stand.lead_along_pct).any() == WORLDS[name].lifts_lead_foot
        assert np.all(np.diff(stand.t_s) > 0)
    assert (person.lead_along_pct is None) == (not WORLDS[name].has_place)


@pytest.mark.parametrize("name", SETTLING)
def test_a_stand_is_still_at_its_steady_place_and_the_stands_scatter_about_the_persons(name):
    places = []
    for seed in range(10):
        person = rocking_person(name, seed=seed)
        for stand in person.stands:
            lead, trail = (np.median(a[still(stand)]) for a in (stand.lead_along_pct, stand.trail_along_pct))
            assert lead == pytest.approx(stand.steady_lead_along_pct, abs=0.4)
            assert trail == pytest.approx(stand.steady_trail_along_pct, abs=0.4)
        if person.lead_along_pct is not None:
            places.append(np.median([s.steady_lead_along_pct for s in person.stands]) - person.lead_along_pct)
    if places:
        assert abs(np.mean(places)) < 4 * WORLDS[name].stand_sd / np.sqrt(10)


def test_rocking_is_wider_than_standing_still_and_a_pause_is_as_still_but_short():
    stand = rocking_person("pauses_at_the_ends", seed=2).stands[0]
    rocking = stand.lead_along_pct[stand.t_s < stand.still_from_s]
    assert np.ptp(rocking) > 25
    assert np.ptp(stand.lead_along_pct[still(stand)]) < 6
    assert narrowest_range(rocking[:600], 20) < 2
    assert narrowest_range(rocking[:600], 120) > 8


@pytest.mark.parametrize(("name", "least"), [("never_settles", 25), ("drifts", 3)])
def test_a_person_without_a_steady_place_is_never_still_for_two_seconds(name, least):
    for stand in rocking_person(name, seed=3).stands:
        assert stand.still_from_s is None
        assert stand.steady_lead_along_pct is None
        assert narrowest_range(stand.lead_along_pct, 200) > least
    for stand in rocking_person("settles", seed=3).stands:
        assert narrowest_range(stand.lead_along_pct, 200) < 2


def test_lopsided_rocks_draw_the_mean_of_the_whole_stand_away_from_its_place():
    for stand in rocking_person("lopsided_rocks", seed=4).stands:
        assert np.mean(stand.lead_along_pct) - stand.steady_lead_along_pct > 2


def test_one_stand_off_moves_the_mean_of_the_stands_more_than_their_median():
    person = rocking_person("one_stand_off", seed=5)
    places = np.array([stand.steady_lead_along_pct for stand in person.stands]) - person.lead_along_pct
    assert abs(np.median(places)) < 1.5
    assert np.mean(places) > 2


def test_two_places_have_nothing_midway():
    stands = rocking_person("two_places", seed=6).stands
    places = np.sort([stand.steady_lead_along_pct for stand in stands])
    assert places[3] - places[2] > 15
