"""The steady place after rocking to and fro, on stands whose place is known."""

import numpy as np
import pytest

from models.swing.rocking import MEASURES, steady_place
from odd_rocking import WORLDS, rocking_person

COLUMNS = ("lead_n", "trail_n", "lead_along_pct", "trail_along_pct")
SETTLING = [
    name
    for name, world in WORLDS.items()
    if world.fades and not world.drift_pct_per_s and world.still_s >= 2.5
]


def found_in(stand, **changes):
    columns = {name: np.asarray(getattr(stand, name), dtype=float) for name in COLUMNS}
    return steady_place(columns | changes, 100.0)


@pytest.mark.parametrize("name", SETTLING)
def test_where_a_player_settles_is_found_to_half_a_percent_of_foot_length(name):
    for seed in range(5):
        for stand in rocking_person(name, seed=seed).stands:
            found = found_in(stand)
            assert found["lead_along_pct"] == pytest.approx(stand.steady_lead_along_pct, abs=0.6)
            assert found["trail_along_pct"] == pytest.approx(stand.steady_trail_along_pct, abs=0.6)
            lasted = stand.still_to_s - stand.still_from_s
            assert lasted - 0.8 < found["steady_s"] < lasted + 2  # the last, smallest rocks may count


def test_who_never_stands_still_has_no_steady_place():
    stands = [stand for seed in range(10) for stand in rocking_person("never_settles", seed=seed).stands]
    assert [found_in(stand) for stand in stands] == [dict.fromkeys(MEASURES)] * len(stands)
    drifting = [stand for seed in range(10) for stand in rocking_person("drifts", seed=seed).stands]
    assert sum(found_in(stand)["steady_s"] is not None for stand in drifting) <= len(drifting) / 10


def test_on_one_foot_nobody_stands_steady():
    stand = rocking_person("settles", seed=1).stands[0]
    assert found_in(stand)["steady_s"] is not None
    light = np.where(stand.t_s >= 0, 0.05 * (stand.lead_n + stand.trail_n), 0)
    assert found_in(stand, lead_n=light, trail_n=stand.lead_n + stand.trail_n - light)["steady_s"] is None


def test_without_both_feet_along_their_length_nothing_is_said():
    stand = rocking_person("settles", seed=1).stands[0]
    assert steady_place({"lead_n": stand.lead_n, "trail_n": stand.trail_n}, 100.0) == dict.fromkeys(MEASURES)
    assert found_in(stand, lead_along_pct=np.full(stand.t_s.size, np.nan)) == dict.fromkeys(MEASURES)
