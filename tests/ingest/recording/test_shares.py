"""A recording of several people is shared out by standing load, hand and order."""

from dataclasses import replace

import pytest

from ingest.recording.shares import Share, share_out
from ingest.recording.swings import cut
from planted_recordings import CHILD, FIDGETY, HEELS, LEFT_HANDED, QUIET, Recording, recording


def shares_of(made: Recording) -> list[tuple[Share, set[str]]]:
    """Each share, and whose swings are planted where its own are."""
    found = dict(enumerate(cut(made.t_s, made.left_n, made.right_n), start=1))
    planted = made.of("swing", "practice")

    def people(share: Share) -> set[str]:
        strikes = [found[no].strike_s for no in share.swings]
        return {p.person for p in planted if any(abs(p.events["impact"] - at) < 0.5 for at in strikes)}

    return [(share, people(share)) for share in share_out(found)]


def test_a_child_and_an_adult_in_turn_are_told_apart_with_their_masses():
    shares = shares_of(recording(QUIET, CHILD, seed=3, turn=3, minutes=8.0))
    assert [people for _, people in shares] == [{"quiet"}, {"child"}]
    assert [share.mass_kg for share, _ in shares] == [
        pytest.approx(74.0, abs=0.7),
        pytest.approx(35.0, abs=0.5),
    ]
    assert all(share.clear for share, _ in shares)
    assert all(len(share.turns) > 1 for share, _ in shares)


def test_the_hand_parts_two_of_one_weight():
    shares = shares_of(recording(HEELS, replace(LEFT_HANDED, mass_kg=88.0), seed=4, turn=3, minutes=8.0))
    assert sorted(people.pop() for _, people in shares) == ["heels", "left"]
    assert sorted(share.toward for share, _ in shares) == [-1, 1]


def test_people_of_nearly_one_weight_are_asked_about():
    near = replace(FIDGETY, mass_kg=76.5, fidgets_per_s=0.05)
    shares = shares_of(recording(QUIET, near, seed=5, turn=3, minutes=8.0))
    assert not any(share.clear for share, people in shares if len(shares) > 1 or len(people) > 1)


def test_two_of_the_very_same_weight_and_hand_can_not_be_parted_and_stay_one_share():
    [(share, people)] = shares_of(recording(QUIET, replace(HEELS, mass_kg=74.0), seed=6, turn=3, minutes=6.0))
    assert people == {"quiet", "heels"}
    assert len(share.turns) == 1


def test_the_zeros_drift_parts_nobody():
    [(share, people)] = shares_of(recording(QUIET, seed=7, drift_n=40.0, minutes=12.0))
    assert people == {"quiet"}
    assert share.mass_kg == pytest.approx(74.0, abs=1.0)
