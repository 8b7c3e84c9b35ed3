"""Pictures of drills, coaches and how sure we are, by their encodings, titles and words."""

from datetime import date

import polars as pl
import pytest

from chart_rows import CLAIM, EFFECTS, GAINS, OUT, RELIABLE, SEEN, effect
from dashboard import theme
from dashboard.charts import (
    calibration_goals,
    coach_funnel,
    drill_forest,
    eye_and_plate,
    left_out,
    reliability,
)


def marks(spec):
    return [layer["mark"]["type"] for layer in spec["layer"]]


def rows_of(spec, layer):
    name = spec["layer"][layer].get("data", spec.get("data", {}))["name"]
    return spec["datasets"][name]


def test_the_forest_scales_each_effect_by_its_own_smallest_worthwhile_change():
    spec = drill_forest.picture(EFFECTS, "Early bump helps").to_dict()
    assert marks(spec) == ["rect", "rule", "rule", "point", "text"]
    assert rows_of(spec, 0) == [{"lo": -1.0, "hi": 1.0}]
    drawn = {(row["row"], row["which"]): row["value"] for row in rows_of(spec, 3)}
    assert drawn[("Early bump", "kept")] == 2.5
    assert drawn[("Early bump", "on the day")] == 3.0
    assert spec["title"]["text"] == ["Early bump helps"]


def test_the_forest_tells_kept_from_the_day_by_filling_and_by_place_never_by_hue():
    spec = drill_forest.picture(EFFECTS, "x").to_dict()
    point = spec["layer"][3]["encoding"]
    assert point["fill"]["scale"] == {
        "domain": ["kept", "on the day"],
        "range": [theme.INK, theme.GROUND],
    }
    assert point["yOffset"]["field"] == "which"


def test_a_long_interval_is_cut_at_the_edge_and_whole_in_the_table():
    far = pl.DataFrame([effect("Early bump", 5.0, kept_lo=-90.0, kept_hi=100.0)])
    domain = drill_forest.picture(far, "x").to_dict()["layer"][3]["encoding"]["x"]["scale"]["domain"]
    assert domain == [-drill_forest.REACH - 0.3, drill_forest.REACH + 0.3]
    assert "(90\u00a0% between −90 and +100)" in drill_forest.table(far, "Drill")["Kept"][0]


def test_groups_without_a_same_day_effect_draw_no_hollow_dots_and_no_legend():
    groups = pl.DataFrame(
        [effect("Under 18 years", 5.0, same_day=None, same_day_lo=None, same_day_hi=None)],
        infer_schema_length=None,
    )
    spec = drill_forest.picture(groups, "x").to_dict()
    assert {row["which"] for row in rows_of(spec, 3)} == {"kept"}
    assert spec["layer"][3]["encoding"]["fill"]["legend"] is None


def test_the_forest_in_words_and_as_a_table():
    assert drill_forest.words(EFFECTS).startswith(
        "Early bump: kept +5\u00a0points (90\u00a0% between +1 and +9), on the day +6\u00a0points"
    )
    table = drill_forest.table(EFFECTS, "Drill")
    assert table["In a word"].to_list() == ["▲ Helps", "No clear effect"]
    assert table["Worthwhile from"][0] == "2.0\u00a0points"


def test_a_ratios_effect_has_no_unit():
    row = effect("Count", -0.7, unit="to 1", places=1)
    assert drill_forest.effect(row, "kept", "to 1", 1).startswith("−0.7 (90\u00a0%")


def test_the_funnel_draws_limits_that_narrow_as_precision_grows():
    spec = coach_funnel.picture(GAINS, "x").to_dict()
    assert marks(spec) == ["area", "line", "line", "rule", "point", "text", "text"]
    limits = rows_of(spec, 0)
    widths = [row["hi95"] - row["lo95"] for row in limits]
    assert widths == sorted(widths, reverse=True)
    # At a coach's own precision the drawn limit is that coach's limit.
    at = min(limits, key=lambda row: abs(row["precision"] - 5.0))
    assert at["hi95"] == pytest.approx(0.2 + 1.96 / at["precision"], rel=1e-6)
    dots = spec["layer"][4]["encoding"]
    assert dots["x"]["field"] == "precision"
    assert dots["y"]["field"] == "raw"


def test_the_funnel_names_only_those_the_viewer_may_know():
    spec = coach_funnel.picture(GAINS, "x").to_dict()
    assert [row["name"] for row in rows_of(spec, 5)] == ["Caro"]
    text = coach_funnel.words(GAINS)
    assert "Caro: +0.90, 10\u00a0students, outside the 95 % limits." in text
    assert "Other coaches, unnamed: 1 inside the limits and 1 outside the 80 % limits." in text


def test_the_funnels_title_names_nobody_and_asks_before_it_says():
    title = coach_funnel.finding(GAINS)
    assert title.startswith("1 of 3\u00a0coaches lies outside the 95 % limits: worth asking why")
    inside = coach_funnel.finding(GAINS.tail(2))
    assert inside.startswith("No difference between coaches shows: all 2")
    assert coach_funnel.finding(GAINS.tail(1)).startswith("Only one coach has enough students")


def test_the_funnels_table_keeps_the_order_it_is_given_and_ranks_nobody():
    table = coach_funnel.table(GAINS)
    assert table["Coach"].to_list() == ["Caro", "Another coach", "Another coach"]
    assert "Rank" not in table.columns


def test_reliability_draws_what_was_fitted_on_a_whole_scale():
    spec = reliability.picture(RELIABLE, reliability.finding(RELIABLE, "Irons")).to_dict()
    assert spec["title"]["text"] == ["Irons: one session tells students apart well on 1 of 2 measures"]
    dots = spec["layer"][2]
    assert dots["encoding"]["x"]["scale"]["domain"] == [0, 1]
    assert [row["label"] for row in rows_of(spec, 2)] == ["Lead share", "Heel"]


@pytest.mark.parametrize(
    ("icc", "word"),
    [
        (0.95, "very well"),
        (0.75, "well"),
        (0.5, "moderately"),
        (0.49, "poorly"),
        (-0.1, "poorly"),
        (None, "–"),
    ],
)
def test_an_intraclass_correlation_in_a_word(icc, word):
    assert reliability.grade(icc) == word


def test_reliability_as_a_table_gives_errors_in_points_with_one_more_decimal():
    table = reliability.table(RELIABLE)
    assert table["Smallest real change"].to_list() == ["3.9\u00a0points", "0.06\u00a0s", "5.5\u00a0points"]
    assert table["Tells students apart"].to_list() == ["well (0.82)", "–", "poorly (0.44)"]


def test_a_claims_goal_is_a_strip_where_there_is_one_and_sizes_differ_by_shape():
    spec = calibration_goals.picture(CLAIM, calibration_goals.finding(CLAIM)).to_dict()
    assert spec["title"]["text"] == ["Intervals hold the truth: goal met in 1 of 2"]
    assert {row["truth"] for row in rows_of(spec, 0)} == {"slopes differ"}
    assert [row["figure"] for row in rows_of(spec, 1)] == pytest.approx([79.0, 91.0, 86.0])
    assert spec["layer"][1]["encoding"]["shape"]["scale"]["range"] == ["circle", "square"]


def test_missed_goals_are_told_like_the_others():
    assert "slopes differ, 40\u00a0students: 86.0\u00a0%, goal missed" in calibration_goals.words(CLAIM)
    assert calibration_goals.table(CLAIM)["Met"].to_list() == ["yes", "no", "–"]


def test_a_bias_is_told_in_worthwhile_changes_not_in_percent():
    bias = CLAIM.with_columns(unit=pl.lit("swc"), figure=pl.lit(-0.2))
    assert "slopes differ, 20\u00a0students: −0.20" in calibration_goals.words(bias)
    x = calibration_goals.picture(bias, "x").to_dict()["layer"][1]["encoding"]["x"]
    assert x["title"] == "Off by, in smallest worthwhile changes"


def test_eye_and_plate_stand_in_the_order_of_the_swing_and_name_the_least_agreement():
    spec = eye_and_plate.picture(SEEN, eye_and_plate.finding(SEEN)).to_dict()
    assert spec["title"]["text"] == ["Eye and plate agree least on “Crosses late”; mostly on 1 of 2 faults"]
    assert spec["layer"][2]["encoding"]["y"]["sort"] == ["No re-centring", "Crosses late"]
    assert eye_and_plate.table(SEEN)["Fault"].to_list() == [
        "No re-centring",
        "Crosses late",
        "Trail heel sinks",
    ]
    assert eye_and_plate.table(SEEN)["Kappa"][2] == "–"


def test_full_agreement_is_said_so():
    assert eye_and_plate.finding(SEEN.filter(pl.col("kappa") > 0.6)).startswith("Eye and plate mostly agree")


def test_left_out_is_a_circle_a_week_by_its_number_the_largest_group_first():
    finding = left_out.finding(OUT, 94, "Reason")
    assert (
        finding
        == "6\u00a0swings and deliveries left out, 6.0\u00a0% of what came in; most by reason: Samples missing (5)"
    )
    spec = left_out.picture(OUT, "Reason", finding).to_dict()
    encoding = spec["layer"][0]["encoding"]
    assert encoding["size"]["field"] == "n"
    assert encoding["size"]["scale"]["domain"][0] == 0
    assert encoding["y"]["sort"] == ["Samples missing", "No consent"]
    assert left_out.words(OUT, "Reason") == "Left out, by reason. Samples missing: 5; No consent: 1."


def test_no_reason_is_named_where_none_stands_out():
    even = pl.DataFrame({"week": [date(2026, 1, 12)] * 2, "group": ["a", "b"], "n": [1, 1]})
    assert left_out.finding(even, 8, "Reason").endswith("no reason stands out")


def test_what_was_left_out_once_shares_a_row_and_a_row_of_several_stays_its_own():
    single = pl.DataFrame(
        {"week": [date(2026, 1, 19)] * 2, "group": ["No time zone", "No consent"], "n": [1, 1]}
    )
    twice = OUT.filter(pl.col("group") == "Samples missing")
    spec = left_out.picture(pl.concat([twice, single]), "Reason", "x").to_dict()
    assert spec["layer"][0]["encoding"]["y"]["sort"] == ["Samples missing", "Once each (2)"]
    drawn = {(row["group"], row["week"][:10]): row["n"] for row in rows_of(spec, 0)}
    assert drawn[("Once each (2)", "2026-01-19")] == 2
    assert sum(drawn.values()) == 7
