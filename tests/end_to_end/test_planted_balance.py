"""Where the demo's students stand most steadily, and what they felt, is found as it was planted."""

import polars as pl
import pytest

from demo_academy.notes import FELT


def test_planted_steady_places_become_own_targets_and_others_do_not(demo):
    targets = demo.sql("SELECT * FROM academy.setup_target WHERE metric LIKE '%along_pct' ORDER BY \"from\"")
    planted = demo.truth["steady_places"]
    for student, place in planted.items():
        found = dict(targets.filter(student=student).select("metric", "median_pct").iter_rows())
        if place is None:
            assert found == {}
        else:
            assert found["address_lead_along_pct"] == pytest.approx(place[0], abs=2.5)
            assert found["address_trail_along_pct"] == pytest.approx(place[1], abs=2.5)
    assert set(targets["student"]) == {student for student, place in planted.items() if place}


def test_students_feel_more_truly_late_in_the_season_than_early(demo):
    spans = demo.sql("SELECT span, sum(agreed) / sum(n) AS rate FROM season.felt_agreement GROUP BY span")
    rate = dict(spans.iter_rows())
    assert rate["now"] > rate["before"] + 0.1
    known = demo.sql(
        "SELECT feeling, count(*) AS n, count(measured) AS measured FROM season.felt GROUP BY feeling"
    )
    assert set(known["feeling"]) == set(FELT)
    assert known["measured"].sum() > 0.9 * known["n"].sum()


def test_nudge_checks_and_signs_are_in_the_rates_of_what_was_seen(demo):
    seen = demo.sql(
        "SELECT code, sum(looked) AS looked FROM season.eye_rate WHERE span = 'season' GROUP BY code"
    )
    assert {"hips_wind", "heels_at_address", "toes_at_address"} <= set(seen["code"])
    young = demo.sql(
        "SELECT s.eyes FROM academy.steadiness s JOIN academy.person p ON p.person = s.student "
        "WHERE date_diff('year', p.born, s.day) < 14"
    )
    assert not young.is_empty()
    assert young.filter(pl.col("eyes") == "closed").is_empty()
