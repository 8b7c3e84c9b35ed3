"""Chains of faults: the usual ones name faults in swing order, an academy's own are checked."""

import pytest

from warehouse.chains import Chain, read_chains, usual_chains
from warehouse.definitions import PHASES, usual_faults
from warehouse.errors import UnderfootError
from warehouse.observations import sign_codes, signs
from warehouse.settings import parse_settings

HEAD = 'name = "A"\ntime_zone = "Europe/Berlin"\n'


def own(table):
    return read_chains(parse_settings(f"{HEAD}{table}".encode()))


def test_every_usual_chain_runs_through_known_faults_and_signs_in_swing_order():
    phases = {code.code: PHASES.index(code.phase) for code in (*usual_faults(), *signs())}
    faults = [fault.code for fault in usual_faults()]
    order = sorted([*faults, *sign_codes()], key=lambda code: phases[code])
    chains = usual_chains()
    assert len({chain.code for chain in chains}) == len(chains) >= 3
    for chain in chains:
        places = [order.index(fault) for fault in chain.faults]
        assert places == sorted(places), chain
    assert Chain("a", ("one", "two", "three")).links == (("one", "two"), ("two", "three"))


def test_an_academy_adds_a_chain_replaces_one_and_chains_a_fault_of_its_own():
    added = own('[[chain]]\ncode = "rock_then_push"\nfaults = ["rocking_start", "trail_push"]\n')
    assert added == (*usual_chains(), Chain("rock_then_push", ("rocking_start", "trail_push")))
    replaced = own(
        '[[chain]]\ncode = "push_and_drift"\nfaults = ["no_recentre", "trail_push", "target_drift"]\n'
    )
    assert [chain.code for chain in replaced] == [chain.code for chain in usual_chains()]
    assert {chain.code: chain for chain in replaced}["push_and_drift"].faults[0] == "no_recentre"
    fault = '[[fault]]\ncode = "slow_back"\n[[chain]]\ncode = "slow"\nfaults = ["slow_back", "trail_push"]\n'
    assert own(fault)[-1] == Chain("slow", ("slow_back", "trail_push"))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('faults = ["trail_push", "target_drift"]', "code = None must be small letters"),
        ('code = "Push!"\nfaults = ["trail_push", "target_drift"]', "code = 'Push!' must be small letters"),
        ('code = "a"\nfaults = ["trail_push"]', "must be a list of two or more faults, each once"),
        ('code = "a"\nfaults = "trail_push"', "must be a list of two or more faults"),
        ('code = "a"\nfaults = ["trail_push", "trail_push"]', "each once"),
        (
            'code = "a"\nfaults = ["trail_push", "charm"]',
            "faults has charm, which is no fault of this warehouse",
        ),
        ('code = "a"\nfaults = ["trail_push", "target_drift"]\nlinks = 2', "links is no key of it"),
    ],
)
def test_a_chain_that_is_not_right_says_what_and_shows_a_whole_one(table, said):
    with pytest.raises(UnderfootError, match=r"a whole one has code = ") as wrong:
        own(f"[[chain]]\n{table}\n")
    assert said in str(wrong.value)


def test_the_heels_at_set_up_end_in_a_blocked_turn_which_only_the_eye_can_see():
    chain = {chain.code: chain for chain in usual_chains()}["heels_then_toes"]
    assert chain.faults == ("heels_at_address", "heels_together_back", "toes_together_down", "blocked_turn")
    assert (
        own('[[chain]]\ncode = "a"\nfaults = ["hips_wind", "late_crossing"]\n')[-1].faults[0] == "hips_wind"
    )
