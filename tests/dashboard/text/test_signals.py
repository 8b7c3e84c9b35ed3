"""The sentences of the weekly review, written from codes and numbers."""

from datetime import date

import pytest

from dashboard.text.numbers import Measure
from dashboard.text.signals import Names, signal_sentence
from models.season.week import KINDS
from warehouse.vocabulary import AGREED_SIGNALS

NAMES = Names(
    {
        "recentre_pts": Measure("recentre_pts", "Recentring", "%", "", "up", 1),
        "impact_lead_share_pct": Measure("impact_lead_share_pct", "Lead share at impact", "%", "", "up", 1),
        "heel": Measure("heel", "Load under the heel", "% of body weight", "", "down", 0),
    },
    {"late_crossing": "Late crossing"},
)
LINE = {"role": "main", "club_family": "iron"}
LEAD = LINE | {"subject": "impact_lead_share_pct", "start_value": 80.04, "value_now": 71.0, "p": 0.97}
RECENTRE = LINE | {"subject": "recentre_pts", "start_value": 5.0, "value_now": 9.0, "p": 0.999}
HEEL = LINE | {"subject": "heel", "start_value": 18.0, "value_now": -0.2, "p": 0.96}
FAULT = {"role": "main", "subject": "late_crossing", "flagged": 9, "usable": 20, "sessions": 3}


def sentence(kind, *evidence):
    return signal_sentence(kind, evidence, NAMES).replace("\u00a0", " ")


def test_a_change_names_what_goes_the_other_way():
    assert sentence("slipping", LEAD, RECENTRE | {"role": "against"}) == (
        "Lead share at impact with irons: 80.0 % → 71.0 %. Worse: 97 % sure that it matters. "
        "Improving as well: Recentring with irons: 5.0 % → 9.0 %."
    )


def test_two_changes_beside_the_surest_are_told_in_full_and_the_others_counted():
    two = [row | {"role": "beside"} for row in (LEAD, HEEL)]
    assert sentence("improving", RECENTRE, *two) == (
        "Recentring with irons: 5.0 % → 9.0 %. Better: 99 % sure that it matters. "
        "Also: Lead share at impact with irons: 80.0 % → 71.0 %; Load under the heel with irons: 18 → 0 % of body weight."
    )
    beside = [row | {"role": "beside"} for row in (LEAD, HEEL, LEAD)]
    assert sentence("improving", RECENTRE, *beside) == (
        "Recentring with irons: 5.0 % → 9.0 %. Better: 99 % sure that it matters. "
        "Also: Lead share at impact with irons: 80.0 % → 71.0 %; Load under the heel with irons: "
        "18 → 0 % of body weight; 1 more."
    )


@pytest.mark.parametrize(
    ("kind", "row", "expected"),
    [
        ("discomfort", {"subject": "left_knee", "day": date(2026, 8, 11), "lasts": False},
         ("Discomfort, still open: left knee, noted on 11 August 2026. No drill that loads it until it is over; "
          "if it persists, see a physician or physiotherapist.")),
        ("discomfort", {"subject": "left_knee", "day": date(2026, 8, 11), "lasts": True},
         ("Discomfort, still open: left knee, noted on 11 August 2026. This has lasted for more than three weeks: see a "
          "physician before any more swings.")),
        ("new_fault", FAULT | {"club_family": "driver", "flagged_before": 2, "usable_before": 40, "p": 0.969},
         "Late crossing with the driver in 9 of 20 swings now, 2 of 40 before. More often than before: 96 % sure."),
        ("outside_band", LEAD | {"side": "under", "sessions": 6},
         "Lead share at impact with irons at 71.0 %, below the target, in each of the last 6 sessions and not gaining."),
        ("idle_drill", {"subject": "d04", "drill_name": "Wall", "doses": 1},
         "“Wall” was set 1 time. Across the academy, no worthwhile gain from it has lasted."),
        ("idle_drill", {"subject": "d04", "drill_name": "Wall", "doses": 7},
         "“Wall” was set 7 times. Across the academy, no worthwhile gain from it has lasted."),
        ("unmeasured", {"days": 40, "day": date(2026, 8, 1)}, "Not measured for 40 days, last on 1 August 2026."),
        ("unmeasured", {"days": None, "day": None}, "Enrolled and not measured yet."),
        ("eye_and_plate", FAULT | {"seen": 3, "flagged": 0},
         "Late crossing: noted in 3 of 3 sessions, measured in 0 of 20 swings. Look at it together."),
        ("eye_and_plate", FAULT | {"seen": 0},
         "Late crossing: measured in 9 of 20 swings over 3 sessions, and never noted there. On purpose?"),
        ("refused", {"subject": "late", "refusals": 1, "sentence": "It is empty."},
         "Delivery late was refused: It is empty."),
        ("refused", {"subject": "late", "refusals": 3, "sentence": "It is empty."},
         "Delivery late was refused: It is empty. (and 2 more)"),
        ("refused", {"subject": "late", "refusals": 1, "sentence": None}, "Delivery late was refused."),
    ],
)  # fmt: skip
def test_a_signal_of_one_thing(kind, row, expected):
    assert sentence(kind, row) == expected


@pytest.mark.parametrize(
    ("met", "called"), [("recentre_pts", "Recentring"), ("late_crossing", "Late crossing")]
)
def test_a_met_aim_is_named_with_what_shows_now(met, called):
    then = FAULT | {"role": "next", "club_family": "wedge"}
    assert sentence("aim_met", LINE | {"subject": met}, then) == (
        f"“{called}” is on target. Late crossing with wedges in 9 of 20 swings now."
    )


@pytest.mark.parametrize(
    ("kind", "sessions", "expected"),
    [
        ("agreed_reached", 5, "the agreed change for the better has shown since 1 August 2026."),
        ("agreed_missed", 5, "due by 1 August 2026, and the change did not show by then."),
        ("agreed_missed", 0, "due by 1 August 2026, and not measured since it was agreed."),
        (
            "agreed_silent",
            5,
            "if on course for what was agreed by 1 August 2026, a change would show by now. It does not.",
        ),
        ("agreed_due", 5, "due by 1 August 2026, and the change does not show yet."),
    ],
)
def test_an_agreed_aim_names_all_its_measures(kind, sessions, expected):
    row = {"sessions": sessions, "day": date(2026, 8, 1)}
    said = sentence(kind, RECENTRE | row, LEAD | row | {"role": "beside"})
    assert said == f"“Recentring” and “Lead share at impact”: {expected}"


def test_every_kind_of_signal_has_a_sentence():
    row = LEAD | FAULT | {"seen": 0, "side": "over", "day": date(2026, 8, 1), "days": 3, "sentence": None}
    row |= {"flagged_before": 1, "usable_before": 2, "doses": 2, "drill_name": "Wall", "lasts": False}
    rows = {"slipping": LEAD, "improving": LEAD, "outside_band": row | {"subject": "heel"}}
    rows |= {kind: row | {"subject": "heel"} for kind in AGREED_SIGNALS}
    for kind in KINDS:
        found = rows.get(kind, row)
        assert sentence(kind, found, *([row] if kind == "aim_met" else []))
