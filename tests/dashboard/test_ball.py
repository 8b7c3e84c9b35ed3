"""What goes together with the ball, on a student's page: with its doubt, and never as a cause."""

import json

import polars as pl

from dashboard.charts import ball_links


def test_the_student_page_says_what_goes_with_the_ball_and_claims_no_cause(visit, page_text):
    at = visit("full", "student", "c01", student="s01", clubs="iron")
    text = page_text(at)
    assert "What goes together with the ball" in text
    assert "It says what goes together, not what causes what" in text
    spec = next(
        json.loads(chart.proto.spec)
        for chart in at.get("vega_lite_chart")
        if "carry" in json.dumps(json.loads(chart.proto.spec).get("title", {}))
    )
    assert " ".join(spec["title"]["text"]) == (
        "Swings with a higher trail share when the lead arm is parallel going back carry farther"
    )


def test_with_too_few_sessions_it_says_how_many_are_needed(visit, page_text):
    text = page_text(visit("full", "student", "c02", student="s02", clubs="iron"))
    assert "from 3\u00a0sessions; from 6 sessions with five full swings each" in text


def test_without_ball_results_nothing_is_shown(visit, page_text):
    assert "What goes together with the ball" not in page_text(
        visit("full", "student", "c01", student="s03", clubs="iron")
    )


def test_a_row_that_is_not_sure_is_hollow_and_said_so():
    rows = pl.DataFrame(
        {
            "name": ["Lead share at the top", "Stance"], "position": [1, 2], "per_sd": [-1.25, 0.4],
            "lo": [-2.0, -1.0], "hi": [-0.5, 1.8], "q": [0.01, 0.9], "n_sessions": [8, 8],
            "label": ["goes_together", "not_clear"],
        }
    )  # fmt: skip
    spec = ball_links.picture(rows, "side_spread_m", "x").to_dict()
    points = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")
    assert points["encoding"]["fill"]["condition"]["test"] == "datum.together"
    assert "Stance: +0.4\u00a0m (90\u00a0% between −1.0 and +1.8), not clear yet." in ball_links.words(
        rows, "side_spread_m"
    )
    for outcome, sign, said in (
        ("carry_m", 1, "carry farther"), ("carry_m", -1, "carry less far"),
        ("side_spread_m", 1, "end farther to the side"), ("side_spread_m", -1, "end closer to the line"),
    ):  # fmt: skip
        signed = rows.with_columns(per_sd=sign * pl.col("per_sd").abs())
        title = f"Swings with a higher lead share at the top {said}"
        assert ball_links.finding(signed, outcome) == title
    nothing = rows.with_columns(label=pl.lit("not_clear"))
    assert "Nothing measured clearly goes together" in ball_links.finding(nothing, "carry_m")
