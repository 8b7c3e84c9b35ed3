"""What the footwork is judged by, point by point, and the test that holds each; reference.py writes the table.

A test is named as FILE::FUNCTION below tests/. Those of single metrics are found in the files themselves.
"""

import ast
from functools import cache
from pathlib import Path

from demo_academy.habits import DRILLS
from planted_swings import CASES
from warehouse.definitions import read_metrics, usual_faults
from warehouse.observations import feelings, signs

TESTS = Path(__file__).parent
RULES, TRADE = "models/swing/test_planted_rules.py", "models/swing/test_trade_swings.py"
BY_HAND, FAULTS = "models/swing/test_metrics_by_hand.py", "models/swing/test_faults.py"
PLAIN = "models/swing/test_against_plain_reference.py::test_kernel_and_reference_agree_whatever_is_missing"
CLIP = "models/swing/test_clip.py"
FOUND = f"{RULES}::test_a_planted_fault_is_found_and_nothing_that_was_not_planted"
RAISED = f"{TRADE}::test_each_fault_is_raised_by_the_change_it_is_named_for"
SEVERITY = f"{FAULTS}::test_severity_is_the_way_beyond_the_limit_over_the_clear_margin"

# In the order of the swing, then what is made of many swings.
POINTS = {
    "Each foot by itself is over its middle at set-up, not both on the mean": f"{FAULTS}::test_one_foot_on_its_heel_and_one_on_its_toes_are_two_faults",
    "A student's own steady place goes before the general set-up target": "end_to_end/test_own_setup_target.py",
    "A small press toward the target that starts the swing is no fault": f"{RULES}::test_a_small_press_toward_the_target_at_the_start_is_measured_and_is_no_fault",
    "A heel lightens within its own foot, whatever the foot carries": f"{BY_HAND}::test_a_heel_lightens_within_its_own_foot_whatever_the_foot_carries",
    "Load that leaves a foot is no lightening of its heel": f"{RULES}::test_load_leaving_a_foot_is_no_lightening_of_its_heel",
    "Where the trail pressure ends counts, as well as how far it went": f"{BY_HAND}::test_where_the_trail_pressure_ends_going_back",
    "Each foot's place is measured at every moment": f"{BY_HAND}::test_the_place_of_each_foot_at_every_moment",
    "Both feet the same way is measured in all four cases": f"{BY_HAND}::test_both_feet_toward_the_toes_back_and_toward_the_heels_down",
    "Heels that move within their feet are opposite or alike": f"{BY_HAND}::test_heels_moving_within_their_feet_are_opposite_or_alike",
    "Lead heel down before the trail heel rises, in milliseconds": f"{BY_HAND}::test_the_order_of_the_heels_by_hand",
    "The order of the heels has its doubt": f"{RULES}::test_the_order_of_the_heels_has_its_error",
    "A push raises the whole load; lightening does not": f"{BY_HAND}::test_a_push_raises_the_whole_load_and_a_load_that_only_moves_does_not",
    "Late back is timed by the first five points": f"{BY_HAND}::test_the_first_five_points_back_are_timed_from_the_top",
    "Drifting is judged by the gain alone, and only the gain stays with irons and wedges": f"{TRADE}::test_only_the_small_gain_and_the_late_crossing_are_not_judged_for_the_long_clubs",
    "A lead foot that leaves the ground is described, and no swapped foot": f"{RULES}::test_a_lead_foot_that_leaves_the_ground_is_described_and_is_no_swapped_foot",
    "A swing by the book raises no fault": f"{TRADE}::test_a_swing_by_the_book_raises_no_fault",
    "Every clean twin stays clean": f"{RULES}::test_the_clean_twin_differs_from_its_case_in_the_planted_fault",
    "Every hand, club and heel load holds in twenty draws": f"{RULES}::test_every_case_has_its_draws_for_both_hands_and_all_its_clubs",
    "Whoever never stands still gets no estimate of how the swing began": "models/swing/test_event_estimates.py::test_who_rocks_up_to_the_takeaway_gets_no_estimate_of_how_the_swing_began",
    "A nudge lost is a sighting, a nudge held is none": "models/season/test_by_eye.py::test_a_lost_nudge_is_seen_and_a_held_one_is_looked_for_but_nothing_else_is",
    "Looked for and not there gives a rate its denominator": "models/season/test_by_eye.py::test_a_code_looked_for_and_not_there_is_no_sighting_and_gives_a_rate_its_denominator",
    "What is seen by eye may be a link of a chain": "models/season/test_chain.py::test_what_a_coach_says_of_single_swings_by_eye_is_linked_like_what_is_measured",
    "What only fades together over the season is no link": "models/season/test_chain.py::test_a_sign_that_only_fades_with_the_fault_over_the_season_is_not_linked",
    "The usual chains run in swing order": "warehouse/test_chains.py::test_every_usual_chain_runs_through_known_faults_and_signs_in_swing_order",
    "The first aim is the earliest link": "models/season/test_aim.py",
    "What was felt is held against what was measured": "models/season/test_felt.py",
    "An ordinary film is marked by eye": "end_to_end/test_film_by_eye.py::test_a_film_is_marked_in_a_browser_and_is_on_the_students_page",
    "A family's film waits for a coach": "dashboard/test_family.py::test_a_film_waits_outside_the_inbox_and_nothing_of_it_loads",
    "A family logs practice and how it felt": "dashboard/test_family.py::test_a_logged_practice_loads_as_a_note_under_the_familys_own_name",
    "Swing by swing, and beside a reference": "end_to_end/test_swing_by_swing.py",
    "A player's goal and the ball's answer": "dashboard/test_goal.py",
}  # fmt: skip


@cache
def functions(file: str) -> dict[str, str]:
    """The test functions of a file below tests/, each with its own source."""
    text = (TESTS / file).read_text("utf-8")
    found = (node for node in ast.parse(text).body if isinstance(node, ast.FunctionDef))
    return {
        node.name: ast.get_source_segment(text, node) or "" for node in found if node.name.startswith("test_")
    }


def held() -> list[tuple[str, str]]:
    """Every point, metric, fault, sign, feeling and drill's aim with the test that holds it."""
    rows = list(POINTS.items())
    rows += [(f"`{metric.code}`", _of_metric(metric.code)) for metric in read_metrics()]
    planted = {fault for case in CASES.values() for fault in case.faults}
    raised = (TESTS / TRADE).read_text("utf-8")
    for fault in usual_faults():
        test = FOUND if fault.code in planted else RAISED if f'"{fault.code}"' in raised else SEVERITY
        rows.append((f"`{fault.code}`", test))
    eye = "models/season/test_by_eye.py::test_rates_count_visits_now_and_before_with_wilsons_interval"
    rows += [(f"`{sign.code}`", eye) for sign in signs()]
    rows += [(f"`{feeling.code}`", "models/season/test_felt.py") for feeling in feelings()]
    drill = "models/swing/test_demo_drills.py::test_doing_the_drill_moves_its_aim_the_right_way_and_brings_on_no_other_fault"
    return rows + [(f"{one.name}: `{one.aim}`", drill) for one in DRILLS]


def _of_metric(code: str) -> str:
    for file in (BY_HAND, CLIP):
        for name, source in functions(file).items():
            if code in source:
                return f"{file}::{name}"
    return PLAIN


def missing() -> list[str]:
    """Tests named above that there are not."""
    found = []
    for _, test in held():
        file, _, name = test.partition("::")
        if not (TESTS / file).is_file() or (name and name not in functions(file)):
            found.append(test)
    return found
