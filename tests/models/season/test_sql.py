"""The season's plain SQL tables, on a hand-made warehouse."""

import math

from models.sql import query
from warehouse.tables import columns, table_names


def run(bench, table):
    return bench.writer.sql(query(table))


def test_the_columns_read_from_the_schema_files_are_those_of_the_tables(bench):
    for table in table_names():
        assert columns(table) == bench.writer.sql(f"FROM {table}").schema, table


def test_a_session_value_is_the_mean_of_its_usable_swings(bench):
    bench.reference({"top_lead_share_pct": False})
    bench.session("a")
    bench.swings("a", {"top_lead_share_pct": [40.0, 44.0, None, math.nan, math.inf]})
    bench.swings("a", {"top_lead_share_pct": [90.0]}, first=6, usable=False)
    bench.touch("s1")
    row = run(bench, "season.session_metric").row(0, named=True)
    assert (row["mean"], row["n"]) == (42.0, 2)
    assert math.isclose(row["sd"], math.sqrt(8))
    assert (row["student"], row["coach"], row["season"], row["device"]) == ("s1", "c1", "spring", "mat")


def test_a_single_swing_has_a_mean_and_no_spread(bench):
    bench.reference({"top_lead_share_pct": False})
    bench.session("a")
    bench.swings("a", {"top_lead_share_pct": [40.0]})
    bench.touch("s1")
    assert run(bench, "season.session_metric").select("sd", "n").row(0) == (None, 1)


def test_part_pace_family_and_drill_stay_apart(bench):
    bench.reference({"top_lead_share_pct": False})
    bench.session("a")
    for first, more in enumerate(
        ({}, {"pace": "half"}, {"family": "driver"}, {"part": "after_drill", "drill": "d1"}), start=1
    ):
        bench.swings("a", {"top_lead_share_pct": [40.0 + first]}, first=first, **more)
    bench.touch("s1")
    rows = run(bench, "season.session_metric")
    assert sorted(rows["mean"]) == [41.0, 42.0, 43.0, 44.0]
    assert rows.filter(rows["part"] == "after_drill")["drill"].to_list() == ["d1"]


def test_measured_and_estimated_heel_loads_never_share_a_mean(bench):
    bench.reference({"lead_heel_unload_pct_bw": True, "top_lead_share_pct": False})
    bench.session("a")
    values = {"lead_heel_unload_pct_bw": [10.0], "top_lead_share_pct": [40.0]}
    bench.swings("a", values, heel_source="measured")
    bench.swings("a", {name: [v[0] + 2] for name, v in values.items()}, first=2, heel_source="estimated")
    bench.touch("s1")
    found = {
        (r["metric"], r["heel_source"]): r["mean"] for r in run(bench, "season.session_metric").to_dicts()
    }
    assert found == {
        ("lead_heel_unload_pct_bw", "measured"): 10.0,
        ("lead_heel_unload_pct_bw", "estimated"): 12.0,
        ("top_lead_share_pct", "none"): 41.0,
    }


def test_swings_with_swapped_feet_and_putts_stay_out_of_every_answer(bench):
    bench.reference({"impact_gain_pts": False}, {"late_crossing": ["impact_gain_pts"]})
    bench.session("a")
    faults = {"late_crossing": [True] * 20}
    bench.swings("a", {"impact_gain_pts": [1.0] * 20}, flags=["feet_swapped"], faults=faults)
    bench.swings("a", {"impact_gain_pts": [1.0] * 20}, first=21, family="putter", faults=faults)
    bench.touch("s1")
    for table in ("season.session_metric", "season.session_fault", "season.style"):
        assert run(bench, table).is_empty(), table


def test_only_touched_students_are_answered(bench):
    bench.reference({"top_lead_share_pct": False})
    for student in ("s1", "s2"):
        bench.session(student + "-a", student)
        bench.swings(student + "-a", {"top_lead_share_pct": [40.0]})
    bench.touch("s2")
    assert run(bench, "season.session_metric")["student"].to_list() == ["s2"]


def test_a_fault_that_could_not_be_judged_is_never_counted_as_not_flagged(bench):
    bench.reference(
        {"trail_push_pts": False}, {"trail_push": ["trail_push_pts"], "no_recentre": ["trail_push_pts"]}
    )
    bench.session("a")
    bench.swings("a", {}, faults={"trail_push": [True, False, None, True], "no_recentre": [None] * 4})
    bench.touch("s1")
    rows = run(bench, "season.session_fault")
    assert rows.select("fault", "flagged", "usable").rows() == [("trail_push", 2, 3)]


def test_faults_that_need_heel_load_carry_their_source(bench):
    bench.reference(
        {"trail_push_pts": False, "lead_heel_unload_pct_bw": True},
        {"trail_push": ["trail_push_pts"], "lead_heel_heavy": ["lead_heel_unload_pct_bw"]},
    )
    bench.session("a")
    bench.swings("a", {}, faults={"trail_push": [True], "lead_heel_heavy": [True]}, heel_source="measured")
    bench.touch("s1")
    rows = run(bench, "season.session_fault")
    assert dict(rows.select("fault", "heel_source").rows()) == {
        "trail_push": "none",
        "lead_heel_heavy": "measured",
    }


def test_style_by_impact_needs_twenty_swings_and_has_three_names(bench):
    bench.reference({"impact_gain_pts": False})
    for student, gain, count in (("s1", 3.0, 20), ("s2", -4.0, 20), ("s3", -12.0, 25), ("s4", 3.0, 19)):
        bench.session(student, student)
        bench.swings(student, {"impact_gain_pts": [gain] * count})
    bench.touch("s1", "s2", "s3", "s4")
    found = {r["student"]: (r["style"], r["n"]) for r in run(bench, "season.style").to_dicts()}
    assert found == {"s1": ("stays_forward", 20), "s2": ("mixed", 20), "s3": ("falls_back", 25)}


def test_data_health_counts_usable_left_out_and_refused(bench):
    bench.session("a", device="mat")
    bench.swings("a", {"top_lead_share_pct": [40.0, 41.0]})
    bench.swings("a", {"top_lead_share_pct": [40.0]}, first=3, usable=False, flags=["unmarked"])
    bench.swings("a", {"top_lead_share_pct": [40.0]}, first=4, flags=["dropout", "feet_swapped"])
    bench.writer.execute(
        "INSERT INTO academy.refusal BY NAME SELECT 'd' AS delivery, 'a' AS session, 5 AS swing_no, "
        "'bad_value' AS reason, 'So.' AS sentence, TIMESTAMP '2026-04-09 10:00' AS at"
    )
    bench.writer.execute(
        "INSERT INTO academy.refusal BY NAME SELECT 'e' AS delivery, 'z' AS session, 'no_consent' AS reason, "
        "'So.' AS sentence, TIMESTAMP '2026-04-09 22:30' AS at"
    )
    bench.writer.execute("INSERT INTO academy.season VALUES ('spring', DATE '2026-04-01', DATE '2026-06-30')")
    bench.writer.execute("CREATE TEMP TABLE place AS SELECT 'Europe/Berlin' AS time_zone")
    rows = run(bench, "season.data_health")
    found = {r["reason"]: (r["season"], str(r["day"]), r["n"]) for r in rows.to_dicts()}
    assert found == {
        "usable": ("spring", "2026-04-01", 2),
        "unmarked": ("spring", "2026-04-01", 1),
        "feet_swapped": ("spring", "2026-04-01", 1),
        "bad_value": ("spring", "2026-04-01", 1),
        "no_consent": ("spring", "2026-04-10", 1),
    }
    assert {r["reason"]: r["student"] for r in rows.to_dicts()} == dict.fromkeys(found, "s1") | {
        "no_consent": None
    }


def test_a_target_note_becomes_the_students_own_band_from_that_day(bench):
    bench.reference({"mid_back_trail_share_pct": False})
    bench.session("a")
    bench.swings("a", {"mid_back_trail_share_pct": [60.0]}, family="driver")
    note = (
        "INSERT INTO academy.note BY NAME SELECT ? AS note, ? AS session, 's1' AS student, "
        "TIMESTAMP '2026-04-02 10:00' AS at, DATE '2026-04-02' AS day, 'c1' AS author, 'target' AS kind, "
        "'mid_back_trail_share_pct' AS code, ? AS value, ? AS value_to, true AS shared, 'd' AS delivery, true AS loose"
    )
    bench.writer.execute(note, ["n1", "a", 60.0, 70.0])
    bench.writer.execute(note, ["n2", None, 58.0, None])
    rows = run(bench, "academy.student_band")
    of_session = rows.filter(rows["version"] == "target n1")
    assert of_session.select("club_family", "lo", "hi").rows() == [("driver", 60.0, 70.0)]
    loose = rows.filter(rows["version"] == "target n2")
    assert sorted(loose["club_family"]) == ["driver", "hybrid", "iron", "wedge", "wood"]
    assert set(loose.select("lo", "hi").rows()) == {(58.0, None)}
    assert set(rows["student"]) == {"s1"}
