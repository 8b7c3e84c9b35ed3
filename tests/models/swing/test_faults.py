"""Severity, null against "not flagged", club and style scope, and the reference tables."""

import polars as pl
import pytest

from models.swing import faults
from warehouse.definitions import metric_codes, words_of
from warehouse.settings import Settings

RULES = faults.load_rules()
NO_STYLES = pl.DataFrame(schema=dict.fromkeys(("session", "club_family", "style"), pl.String))


def own(bands=(), limits=()):
    return faults.load_rules(Settings("A", "UTC", bands=tuple(bands), faults=tuple(limits)))


def judge(metrics, *, rules=RULES, family="iron", style=None, flags=(), crossing=None):
    """{fault: (flagged, severity)} of one swing with these metrics, all others null."""
    row = {"session": "s1", "swing_no": 1, "crossing": crossing} | dict.fromkeys(metric_codes()) | metrics
    schema = {"session": pl.String, "swing_no": pl.Int32, "crossing": pl.String} | dict.fromkeys(
        metric_codes(), pl.Float64
    )
    swings = pl.DataFrame(
        {"session": ["s1"], "swing_no": pl.Series([1], dtype=pl.Int32), "club_family": [family],
         "flags": pl.Series([list(flags)], dtype=pl.List(pl.String))}
    )  # fmt: skip
    styles = pl.DataFrame([("s1", family, style)], NO_STYLES.schema, orient="row") if style else NO_STYLES
    judged = faults.judge(pl.DataFrame([row], schema=schema), swings, rules, styles)
    return {r["fault"]: (r["flagged"], r["severity"]) for r in judged.iter_rows(named=True)}


@pytest.mark.parametrize(
    ("fault", "metrics", "severity"),
    [
        ("heels_at_address", {"address_lead_along_pct": 55, "address_trail_along_pct": 30}, 0.5),
        ("toes_at_address", {"address_lead_along_pct": 77, "address_trail_along_pct": 55}, 0.5),
        ("uneven_at_address", {"address_lead_share_pct": 37}, 0.5),
        ("uneven_at_address", {"address_lead_share_pct": 60.5}, 0.25),
        ("unsteady_at_address", {"address_sway_speed_mm_s": 30}, 0.2),
        ("rocking_start", {"start_rock_pct": 15}, 0.25),
        ("stays_centred", {"mid_back_trail_share_pct": 54}, 0.4),
        ("far_trail", {"mid_back_trail_share_pct": 84}, 0.2),
        ("trail_heel_sink", {"trail_heel_sink_pct": 18, "back_trail_least_along_pct": 40}, 0.2),
        ("trail_heel_sink", {"trail_heel_sink_pct": 8, "back_trail_least_along_pct": 22}, 0.2),
        (
            "trail_heel_sink",
            {"trail_heel_sink_pct": 18, "back_trail_least_along_pct": 16},
            0.6,
        ),  # the farther
        ("lead_heel_heavy", {"lead_heel_lightens_pts": 4}, 0.5),
        ("toes_together_back", {"back_both_toeward_pct": 13}, 0.25),
        ("feet_alike_back", {"back_heel_opposition": -0.7}, 0.5),
        ("late_back", {"return_after_top_s": 0.05}, 0.5),
        ("early_shove", {"mid_down_lead_share_pct": 87}, 0.5),
        ("heels_together_down", {"down_both_heelward_pct": 11}, 0.25),
        ("feet_alike_down", {"down_heel_opposition": -0.9}, 1.0),
        ("heel_order", {"heel_order_ms": 100}, 0.5),
        ("trail_heel_stays", {"trail_heel_lightens_pts": 6}, 0.25),
        ("heels_together_back", {"back_both_heelward_pct": 16}, 0.5),
        ("lead_heel_high", {"lead_heel_rise_mm": 60}, 0.25),
        ("no_recentre", {"recentre_pts": 1.5}, 0.5),
        ("reverse_load", {"top_lead_share_pct": 63}, 0.2),
        ("trail_push", {"trail_push_off_pct_bw": 10}, 0.5),
        ("late_crossing", {"crossing_before_impact_s": 0.05}, 0.5),
        ("little_lead_load", {"mid_down_lead_share_pct": 55}, 0.2),
        ("toes_together_down", {"down_both_toeward_pct": 11}, 0.25),
        ("target_drift", {"impact_gain_pts": 14}, 0.2),
        ("trail_heel_down", {"impact_trail_heel_pct_bw": 8}, 0.25),
    ],
)
def test_severity_is_the_way_beyond_the_limit_over_the_clear_margin(fault, metrics, severity):
    assert judge(metrics)[fault] == (True, pytest.approx(severity))


def test_severity_stops_at_one_and_the_limit_itself_is_not_beyond_it():
    assert judge({"mid_down_lead_share_pct": 99.0})["early_shove"] == (True, 1.0)
    assert judge({"mid_down_lead_share_pct": 82.0})["early_shove"] == (False, 0.0)
    assert judge({"mid_down_lead_share_pct": 70.0})["early_shove"] == (False, 0.0)


def test_a_missing_metric_is_null_and_never_not_flagged():
    assert set(judge({}).values()) == {(None, None)}
    assert judge({"address_lead_along_pct": 50.0})["heels_at_address"] == (None, None)


def test_one_foot_beyond_the_limit_is_enough_though_the_other_is_not_known():
    assert judge({"address_lead_along_pct": 20.0})["heels_at_address"] == (True, 1.0)
    assert judge({"address_trail_along_pct": 90.0})["toes_at_address"] == (True, 1.0)
    assert judge({"back_trail_least_along_pct": 10.0})["trail_heel_sink"] == (True, 1.0)


def test_one_foot_on_its_heel_and_one_on_its_toes_are_two_faults():
    """By their mean, 51, the two stand over the middle."""
    got = judge({"address_lead_along_pct": 22.0, "address_trail_along_pct": 80.0})
    assert (got["heels_at_address"][0], got["toes_at_address"][0]) == (True, True)


def test_never_crossing_is_late_crossing_in_full_and_before_top_is_not_judged():
    assert judge({}, crossing="never")["late_crossing"] == (True, 1.0)
    assert judge({}, crossing="before_top")["late_crossing"] == (None, None)
    assert judge({}, crossing="never", family="driver")["late_crossing"] == (None, None)


def test_drifting_is_judged_by_the_gain_alone():
    assert judge({"impact_gain_pts": 20.0, "impact_lead_share_pct": 80.0})["target_drift"] == (True, 0.8)
    assert judge({"impact_gain_pts": 5.0, "impact_lead_share_pct": 95.0})["target_drift"] == (False, 0.0)


@pytest.mark.parametrize(
    ("style", "flagged"), [(None, True), ("stays_forward", True), ("mixed", None), ("falls_back", None)]
)
def test_drifting_is_judged_for_the_stays_forward_pattern_and_for_none_yet(style, flagged):
    metrics = {"impact_gain_pts": 20.0, "impact_lead_share_pct": 95.0, "top_lead_share_pct": 70.0}
    got = judge(metrics, style=style)
    assert got["target_drift"][0] is flagged
    assert got["reverse_load"][0] is True  # nothing else hangs on style


def test_swapped_feet_are_not_judged():
    far = {"mid_back_trail_share_pct": 99.0}
    assert set(judge(far, flags=["feet_swapped"], crossing="never").values()) == {(None, None)}
    assert judge(far, flags=["dropout"])["far_trail"] == (True, 1.0)


def test_long_clubs_are_judged_all_through_but_for_the_gain_and_the_crossing():
    metrics = {
        "mid_down_lead_share_pct": 20.0, "top_lead_share_pct": 90.0, "impact_gain_pts": 40.0,
        "crossing_before_impact_s": 0.01,
    }  # fmt: skip
    got = judge(metrics, family="driver")
    assert (got["little_lead_load"], got["reverse_load"]) == ((True, 1.0), (True, 1.0))
    assert (got["target_drift"], got["late_crossing"]) == ((None, None), (None, None))
    assert set(judge(metrics, family="putter").values()) == {(None, None)}


def test_an_own_band_for_the_driver_opens_its_rule_for_the_driver():
    rules = own(bands=[{"metric": "impact_gain_pts", "club_family": "driver", "lo": 0, "hi": 8}])
    assert judge({"impact_gain_pts": 17.0}, rules=rules, family="driver")["target_drift"] == (True, 0.5)
    assert judge({"impact_gain_pts": 17.0}, rules=rules, family="wood")["target_drift"] == (None, None)


def test_an_own_limit_moves_the_flag():
    """The contract's own example: limit = 0.03, clear = 0.06."""
    rules = own(limits=[{"code": "late_crossing", "limit": 0.03, "clear": 0.06}])
    assert judge({"crossing_before_impact_s": 0.05}, rules=rules)["late_crossing"] == (False, 0.0)
    assert judge({"crossing_before_impact_s": 0.0}, rules=rules)["late_crossing"] == (
        True,
        pytest.approx(0.5),
    )


def test_an_own_limit_for_one_family_leaves_the_others():
    rules = own(limits=[{"code": "late_crossing", "limit": 0.05, "club_family": "driver"}])
    metrics = {"crossing_before_impact_s": 0.06}
    assert judge(metrics, rules=rules, family="driver")["late_crossing"] == (False, 0.0)
    assert judge(metrics, rules=rules, family="iron")["late_crossing"][0] is True


def test_an_own_limit_for_another_style_opens_the_rule_for_it():
    rules = own(limits=[{"code": "target_drift", "limit": 15, "style": "falls_back"}])
    metrics = {"impact_gain_pts": 16.0, "impact_lead_share_pct": 95.0}
    assert judge(metrics, rules=rules, style="falls_back")["target_drift"] == (True, pytest.approx(0.1))
    assert judge(metrics, rules=rules, style="mixed")["target_drift"] == (None, None)


def test_every_swing_and_fault_has_a_row_in_order_with_the_version():
    swings = pl.DataFrame(
        {"session": ["b", "a"], "swing_no": pl.Series([2, 1], dtype=pl.Int32), "club_family": ["iron", None],
         "flags": pl.Series([[], []], dtype=pl.List(pl.String))}
    )  # fmt: skip
    metrics = pl.DataFrame(
        schema={"session": pl.String, "swing_no": pl.Int32, "crossing": pl.String}
        | dict.fromkeys(metric_codes(), pl.Float64)
    )
    rows = faults.judge(metrics, swings, RULES, NO_STYLES)
    assert rows.columns == ["session", "swing_no", "fault", "flagged", "severity", "rule_version"]
    assert rows["session"].to_list() == ["b"] * len(RULES.faults) + ["a"] * len(RULES.faults)
    assert rows["fault"].to_list()[: len(RULES.faults)] == [f.code for f in RULES.faults]
    assert set(rows["rule_version"]) == {RULES.version}


def test_own_rules_have_their_own_version():
    rules = own(limits=[{"code": "late_crossing", "limit": 0.03}])
    assert rules.version != RULES.version
    assert rules.version == own(limits=[{"code": "late_crossing", "limit": 0.03}]).version
    assert rules.version != own(limits=[{"code": "late_crossing", "limit": 0.02}]).version


def test_band_rows_keep_open_ends_and_style():
    rows = faults.band_rows(RULES)
    recentre = rows.filter(pl.col("metric") == "recentre_pts", pl.col("club_family") == "iron").row(
        0, named=True
    )
    assert (recentre["lo"], recentre["hi"]) == (5.0, None)
    drift = rows.filter(pl.col("metric") == "impact_gain_pts", pl.col("club_family") == "iron").row(
        0, named=True
    )
    assert (drift["lo"], drift["hi"], drift["style"]) == (0.0, 8.0, "stays_forward")
    assert rows.filter(pl.col("club_family") == "putter").is_empty()
    later = ["impact_gain_pts", "impact_lead_share_pct", "finish_lead_share_pct", "crossing_before_impact_s"]
    assert set(rows.filter(pl.col("metric").is_in(later))["club_family"]) == {"iron", "wedge"}
    down = rows.filter(pl.col("metric") == "mid_down_lead_share_pct")
    assert set(down["club_family"]) == {"wedge", "iron", "hybrid", "wood", "driver"}


def test_fault_rows_give_the_rule_in_words_and_its_limits():
    rows = faults.fault_rows(RULES).select("fault", "in_words", "limit")
    words = {fault: words_of(in_words, limit) for fault, in_words, limit in rows.iter_rows()}
    assert words["uneven_at_address"] == "Lead share at address outside 42–58 %"
    assert words["target_drift"] == "Lead share gained from halfway down to impact over 12 points"
    assert words["trail_heel_sink"].endswith("by over 15 % of foot length, or to under 25 %")
    assert not any("{" in sentence for sentence in words.values())


class AgreedWithOneStudent:
    """A warehouse in which a student of session s1 has bands of their own: metric → (lo, hi)."""

    def __init__(self, bands):
        rows = [("s1", metric, "iron", lo, hi) for metric, (lo, hi) in bands.items()]
        names = ["session", "metric", "club_family", "lo", "hi"]
        ends = {"lo": pl.Float64, "hi": pl.Float64}
        self.own = pl.DataFrame(rows, schema=names, schema_overrides=ends, orient="row")
        reads = [(fault.code, metric) for fault in RULES.faults for metric in fault.metrics]
        self.reads = pl.DataFrame(reads, schema=["fault", "metric"], orient="row")

    def sql(self, query):
        return self.own if "academy.band" in query else self.reads


@pytest.mark.parametrize(
    ("lead", "trail", "bands", "flagged"),
    [
        (30.0, 50.0, {"address_lead_along_pct": (25.0, 45.0)}, False),
        (30.0, 30.0, {"address_lead_along_pct": (25.0, 45.0)}, True),  # nothing is agreed for the trail foot
        (
            30.0,
            30.0,
            dict.fromkeys(("address_lead_along_pct", "address_trail_along_pct"), (25.0, 45.0)),
            False,
        ),
        (22.0, 50.0, {"address_lead_along_pct": (25.0, 45.0)}, True),
        (30.0, 50.0, {"address_lead_along_pct": (25.0, None)}, False),  # an end left out is open
        (30.0, 50.0, {"address_lead_along_pct": (None, 45.0)}, False),
        (30.0, 50.0, {"address_lead_along_pct": (None, 30.0)}, False),  # and an end is of the band
        (30.0, 50.0, {"address_lead_along_pct": (30.0, None)}, False),
        (30.0, 50.0, {"address_lead_along_pct": (None, 29.9)}, True),
        (
            50.0,
            30.0,
            {"address_lead_along_pct": (25.0, 45.0)},
            True,
        ),  # the agreed foot is not the one at fault
        (
            None,
            30.0,
            dict.fromkeys(("address_lead_along_pct", "address_trail_along_pct"), (25.0, 45.0)),
            False,
        ),  # a foot that was not measured is not beyond its limit
    ],
)
def test_a_band_agreed_for_one_foot_says_nothing_of_the_other(lead, trail, bands, flagged):
    names = ["session", "swing_no", "crossing", *metric_codes()]
    schema = dict.fromkeys(names, pl.Float64) | {
        "session": pl.String,
        "swing_no": pl.Int32,
        "crossing": pl.String,
    }
    row = dict.fromkeys(names) | {
        "session": "s1", "swing_no": 1, "address_lead_along_pct": lead, "address_trail_along_pct": trail,
    }  # fmt: skip
    metrics = pl.DataFrame([row], schema=schema)
    swings = pl.DataFrame(
        {"session": ["s1"], "swing_no": pl.Series([1], dtype=pl.Int32), "club_family": ["iron"],
         "flags": pl.Series([[]], dtype=pl.List(pl.String))}
    )  # fmt: skip
    judged = faults.judge(metrics, swings, RULES, NO_STYLES)
    rows = faults.without_agreed_flags(AgreedWithOneStudent(bands), judged, metrics, swings, RULES)
    assert rows.filter(fault="heels_at_address")["flagged"].item() is flagged
