"""The planted truths agree with themselves, with hand-worked curves, and with what the files hold."""

import tomllib

import numpy as np
import polars as pl
import pytest

from demo_academy.curves import Curve, Sway, SwingCurves
from demo_academy.faults import PLATE_FAULTS, SHORT_CLUBS_ONLY
from demo_academy.truth import true_metrics

# The fault table again, as an independent copy: metric, under, over, noise margin.
RULES = {
    "uneven_at_address": [("address_lead_share_pct", 42, 58, 1.5)],
    "unsteady_at_address": [("address_sway_speed_mm_s", None, 25, 8)],
    "rocking_start": [("start_rock_pct", None, 12, 2.5)],
    "stays_centred": [("mid_back_trail_share_pct", 60, None, 1.5)],
    "far_trail": [("mid_back_trail_share_pct", None, 82, 1.5)],
    "lead_heel_heavy": [("lead_heel_lightens_pts", 8, None, 3)],
    "heels_together_back": [("back_both_heelward_pct", None, 10, 1.5)],
    "toes_together_back": [("back_both_toeward_pct", None, 10, 1.5)],
    "feet_alike_back": [("back_heel_opposition", -0.5, None, 0.15)],
    "no_recentre": [("recentre_pts", 3, None, 1.5)],
    "late_back": [("return_after_top_s", None, 0.02, 0.008)],
    "reverse_load": [("top_lead_share_pct", None, 60, 1.5)],
    "trail_push": [("trail_push_off_pct_bw", None, 6, 1.5)],
    "late_crossing": [("crossing_before_impact_s", 0.08, None, 0.015)],
    "little_lead_load": [("mid_down_lead_share_pct", 58, None, 1.5)],
    "early_shove": [("mid_down_lead_share_pct", None, 82, 1.5)],
    "toes_together_down": [("down_both_toeward_pct", None, 8, 1.5)],
    "heels_together_down": [("down_both_heelward_pct", None, 8, 1.5)],
    "feet_alike_down": [("down_heel_opposition", -0.5, None, 0.15)],
    "heel_order": [("heel_order_ms", None, 60, 20)],
    "trail_heel_stays": [("trail_heel_lightens_pts", 8, None, 2.5)],
    "target_drift": [("impact_gain_pts", None, 12, 1.5)],
    "trail_heel_down": [("impact_trail_heel_pct_bw", None, 6, 1.5)],
    "heels_at_address": [("least_along", 36, None, 2.0)],
    "toes_at_address": [("most_along", None, 72, 1.8)],
}
ONE_IS_ENOUGH = {
    "trail_heel_sink": [("trail_heel_sink_pct", None, 15, 1.5), ("back_trail_least_along_pct", 25, None, 1.2)]
}


@pytest.fixture(scope="module")
def plates(truth):
    places = [pl.col(f"address_{foot}_along_pct") for foot in ("lead", "trail")]
    return truth.filter(pl.col("device").is_not_null()).with_columns(
        least_along=pl.min_horizontal(places), most_along=pl.max_horizontal(places)
    )


def _beyond(plates, fault, room):
    """Past every limit of a fault when the limits are moved by `room` times their margins, bad direction positive."""
    parts = []
    for metric, low, high, margin in RULES.get(fault) or ONE_IS_ENOUGH[fault]:
        past = pl.lit(value=False)
        if low is not None:
            past = past | (pl.col(metric) < low - room * margin)
        if high is not None:
            past = past | (pl.col(metric) > high + room * margin)
        parts.append(past.fill_null(value=False))
    out = pl.any_horizontal(parts) if fault in ONE_IS_ENOUGH else pl.all_horizontal(parts)
    if fault == "late_crossing":
        out = out | (pl.col("crossing") == "never")
    if fault in SHORT_CLUBS_ONLY:
        out = out & pl.col("club_family").is_in(["iron", "wedge"])
    return plates.select(out.alias("past"))["past"]


@pytest.mark.parametrize("fault", PLATE_FAULTS)
def test_planted_faults_are_the_limits_the_true_metrics_violate(plates, fault):
    planted = plates["planted_faults"].list.contains(fault)
    assert planted.any()
    assert (planted == _beyond(plates, fault, 0)).all()


@pytest.mark.parametrize("fault", PLATE_FAULTS)
def test_no_swing_is_near_a_limit(plates, fault):
    assert (_beyond(plates, fault, 1) == _beyond(plates, fault, -1)).all()


def test_clean_means_no_planted_fault(truth):
    assert (truth["clean"] == (truth["planted_faults"].list.len() == 0)).all()
    assert 0.25 < truth["clean"].mean() < 0.7


def test_a_high_lead_heel_is_planted_where_it_lifts_over_50_mm(truth):
    clips = truth.filter(pl.col("lead_heel_rise_mm").is_not_null())
    high = clips["planted_faults"].list.contains("lead_heel_high")
    assert (high == (clips["lead_heel_rise_mm"] > 50)).all()
    assert ((clips["lead_heel_rise_mm"] - 50).abs() > 8).all()
    assert high.any()
    assert not high.all()


def test_times_back_and_down_are_like_published_ones(truth):
    # Grober & Cholewicki 2006: tour players 21 to 30 frames back and 7 to 10 down at 30 Hz (as quoted publicly).
    full = truth.filter(pl.col("pace") == "full")
    assert 0.7 < full["backswing_s"].mean() < 1.0
    assert 7 / 30 < full["downswing_s"].mean() < 10 / 30


def test_load_goes_to_the_trail_side_and_forward_by_early_downswing(plates):
    # Ball & Best 2007: even at address, to the trail side going back, forward by early downswing (direction only).
    clean = plates.filter("clean")
    assert clean["address_lead_share_pct"].is_between(44, 56).all()
    assert (clean["mid_back_trail_share_pct"] > 60).all()
    assert (clean["mid_down_lead_share_pct"] > 58).all()


def _straight(**values: float) -> SwingCurves:
    """One swing with straight or level curves: takeaway 2.0, mid-back 2.5, top 2.8, mid-down 3.0, impact 3.1."""
    events = {"address": 1.2, "takeaway": 2.0, "mid_back": 2.5, "top": 2.8, "mid_down": 3.0, "impact": 3.1,
              "finish": 3.6}  # fmt: skip
    level = {"share": 50.0, "total": 100.0, "lead_along": 50.0, "trail_along": 50.0} | values
    times = np.array([[0.0, 2.0, 2.8, 3.1, 3.6, 4.0]])
    one = np.ones((1, 6))
    curves = {
        name: Curve(times, np.array([value]) if isinstance(value, list) else value * one)
        for name, value in level.items()
    }
    still = Sway(np.zeros((1, 3)), np.ones((1, 3)), np.zeros((1, 3)), np.zeros(1))
    return SwingCurves(
        events={name: np.array([t]) for name, t in events.items()}, end_s=np.array([4.0]), sway=still,
        heel_extra=np.zeros((1, 2)), weight_n=np.array([700.0]), foot_mm=np.array([260.0]),
        stance_mm=np.array([400.0]), **curves,
    )  # fmt: skip


def test_a_golfer_standing_still_has_the_values_worked_by_hand():
    m = {name: value[0] for name, value in true_metrics(_straight()).items()}
    assert m["address_lead_share_pct"] == pytest.approx(50)
    assert m["address_lead_heel_share_pct"] == pytest.approx(100 * 20 / 55)  # (70 − 50) / (70 − 15)
    assert m["address_sway_speed_mm_s"] == pytest.approx(0, abs=1e-6)
    assert m["start_rock_pct"] == pytest.approx(0)
    assert np.isnan(m["recentre_pts"])  # the trail peak is under 58
    assert m["backswing_s"] == pytest.approx(0.8)
    assert m["downswing_s"] == pytest.approx(0.3)
    assert m["impact_trail_heel_pct_bw"] == pytest.approx(50 * 20 / 55)
    assert np.isnan(m["back_opposition"])
    assert m["crossing"] == "never"


def test_heels_moving_oppositely_give_one_and_together_minus_one():
    opposite = true_metrics(
        _straight(lead_along=[50, 50, 65, 65, 65, 65], trail_along=[50, 50, 35, 35, 35, 35])
    )
    alike = true_metrics(_straight(lead_along=[50, 50, 35, 35, 35, 35], trail_along=[50, 50, 35, 35, 35, 35]))
    assert opposite["back_opposition"][0] == pytest.approx(1, abs=1e-6)
    assert alike["back_opposition"][0] == pytest.approx(-1, abs=1e-6)


def test_a_share_that_rises_from_30_to_70_crosses_half_way():
    m = true_metrics(_straight(share=[50, 50, 30, 70, 90, 90]))
    assert m["crossing"][0] == "crossed"
    assert 0.10 < m["crossing_before_impact_s"][0] < 0.2
    assert m["top_lead_share_pct"][0] == pytest.approx(30, abs=0.5)
    assert m["finish_lead_share_pct"][0] == pytest.approx(90, abs=0.5)


def test_the_file_of_a_swing_shows_its_truth(academy, truth, bad_sessions):
    """Shares read directly from the mat's own file, 25 ms about each marked event, agree with the truth."""
    off = []
    for session in truth.filter(pl.col("device") == "mat-east")["session"].unique(maintain_order=True)[:6]:
        folder = academy / "inbox" / session
        sheet = tomllib.loads((folder / "session.toml").read_text())
        samples = pl.read_csv(folder / "plate.csv")
        for swing in sheet["swing"]:
            mine = truth.filter(pl.col("session") == session, pl.col("swing_no") == swing["no"])
            if "events" not in swing or mine.is_empty():
                continue
            near = samples.filter(
                pl.col("swing_no") == swing["no"],
                (pl.col("t_s") - swing["events"]["mid_back"]).abs() <= 0.0125,
            )
            share = (near["trail_n"] / (near["lead_n"] + near["trail_n"])).mean() * 100
            off.append(share - mine["mid_back_trail_share_pct"].item())
    assert len(off) > 30
    assert np.abs(off).max() < 1.5


def test_in_a_chained_student_the_first_fault_brings_on_the_second_within_the_swing(truth, planted):
    chained = {student: row["chain"] for student, row in planted["students"].items() if row["chain"]}
    assert 0 < len(chained) < len(planted["students"]) / 4
    for student, (cause, effect) in chained.items():
        own = truth.filter(pl.col("student") == student, pl.col("club_family").is_in(["iron", "wedge"]))
        shown = own.select(*(pl.col("planted_faults").list.contains(f).alias(f) for f in (cause, effect)))
        with_it, without = (shown.filter(pl.col(cause) == at)[effect].mean() for at in (True, False))
        assert with_it > 2 * without
