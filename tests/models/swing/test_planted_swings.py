"""The planted swings keep to plain mechanics, whatever is planted in them."""

import numpy as np
import pytest

from planted_swings import CASES, planted_swing

GRAVITY_M_S2 = 9.80665


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("handed", ["right", "left"])
def test_a_planted_swing_carries_its_body_weight_and_has_its_events_in_order(case, handed):
    families = CASES[case].families
    swing = planted_swing(
        case, club_family=families[0], handed=handed, heel_load=True, noise_n=3.0, seed=len(case)
    )
    times = list(swing.events.values())
    assert times == sorted(times)
    assert swing.t_s[0] <= times[0] < times[-1] <= swing.t_s[-1]
    quiet = swing.t_s < swing.events["takeaway"] - 0.3
    total = (swing.left_n + swing.right_n)[quiet]
    assert np.mean(total) == pytest.approx(swing.body_mass_kg * GRAVITY_M_S2, rel=0.03)
    for foot in ("left", "right"):
        load, heel = getattr(swing, f"{foot}_n"), getattr(swing, f"{foot}_heel_n")
        along = getattr(swing, f"{foot}_along_pct")
        assert np.nanmax(heel - load) < 20.0
        assert np.nanmin(along) > 0.0
        assert np.nanmax(along) < 100.0
