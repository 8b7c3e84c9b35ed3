"""The charts by their encodings: what is drawn where, on which scale, under which title, in which words."""

import json
from datetime import date

import polars as pl
import pytest

from chart_rows import (
    CHANGES,
    EVENTS,
    SHARE,
    TICKS,
    course,
    lanes,
    places,
    rates,
    season_of,
    sessions,
    several,
)  # fmt: skip
from dashboard import theme
from dashboard.charts import (
    fault_ladder,
    foot_lines,
    heel_lanes,
    load_curve,
    practice_weeks,
    season_line,
    small_multiples,
    ten_swings,
)
from dashboard.charts.load_curve import SwingCurves
from dashboard.charts.small_multiples import Comparison


def season(**more):
    return season_line.picture(season_of(**more), "It rose").to_dict()


def marks(spec):
    return [
        (layer["mark"]["type"] if isinstance(layer["mark"], dict) else layer["mark"])
        for layer in spec["layer"]
    ]


def test_the_season_line_has_band_bars_points_device_mark_and_a_row_of_ticks_a_kind():
    spec = season()
    assert marks(spec) == ["rect", "rule", "text", "rule", "point", "tick", "tick"]
    assert spec["title"]["text"] == ["It rose"]


def test_the_season_line_draws_the_fitted_line_and_its_ribbon_only_when_there_is_one():
    assert "line" not in marks(season())
    assert marks(season(line=sessions().drop("n")))[1:3] == ["area", "line"]


def test_the_scale_of_the_season_line_holds_every_bar_and_the_band_and_the_tick_rows_below_them():
    spec = season()
    y = next(layer["encoding"]["y"] for layer in spec["layer"] if "scale" in layer["encoding"].get("y", {}))
    low, high = y["scale"]["domain"]
    assert low < 58
    assert high > 75
    levels = y["axis"]["values"][-2:]
    assert all(low < level < 58 for level in levels)
    assert '"lessons"' in y["axis"]["labelExpr"]
    assert y["title"] == ["Trail share going back (%)"]


def test_an_open_band_reaches_the_edge_of_the_picture_and_no_band_draws_none():
    spec = season(band=(None, 64.0))
    rect = spec["layer"][0]
    row = spec["datasets"][rect["data"]["name"]][0]
    assert row["hi"] == 64
    assert row["lo"] < 58
    assert "rect" not in marks(season(band=(None, None)))


def test_a_session_of_few_swings_is_a_hollow_point():
    spec = season(sessions=sessions(swings=3))
    fill = spec["layer"][marks(spec).index("point")]["encoding"]["fill"]
    assert fill["scale"] == {"domain": ["enough", "few"], "range": [theme.INK, theme.GROUND]}
    assert {row["swings"] for rows in spec["datasets"].values() for row in rows if "swings" in row} == {"few"}


def test_the_season_line_in_words_and_as_a_table():
    text = season_line.words(season_of())
    assert "60\u00a0% on 12 January 2026, 63\u00a0% on 23 February 2026, below the target" in text
    table = season_line.table(season_of())
    assert table.columns == ["Day", SHARE.label, "90 % between", "Swings"]
    assert table["90 % between"][0] == "58\u00a0% to 62\u00a0%"


def test_one_session_without_error_bars_is_still_a_picture():
    one = sessions(1).with_columns(lo=pl.lit(None, pl.Float64), hi=pl.lit(None, pl.Float64))
    assert "point" in marks(
        season(sessions=one, ticks=TICKS.clear(), changes=CHANGES.clear(), band=(None, None))
    )
    assert "One session so far" in season_line.words(season_of(sessions=one, band=(None, None)))


@pytest.mark.parametrize(
    ("low", "high", "values"),
    [
        (0, 1, [0, 0.2, 0.4, 0.6, 0.8, 1]),
        (57, 76, [60, 65, 70, 75]),
        (-12, 21, [-10, 0, 10, 20]),
        (0.081, 0.119, [0.09, 0.1, 0.11]),
    ],
)
def test_round_values_are_steps_of_one_two_or_five(low, high, values):
    assert season_line.round_values(low, high) == pytest.approx(values)


def test_the_load_curve_is_blue_for_this_session_and_grey_dashes_for_the_first():
    posts = pl.DataFrame({"event": ["top", "mid_down"], "lo": [25.0, 65.0], "hi": [50.0, None]})
    spec = load_curve.picture(SwingCurves(EVENTS, course(), posts=posts), "A finding").to_dict()
    by_mark = [(layer["mark"]["type"], layer["mark"].get("color")) for layer in spec["layer"]]
    assert by_mark[:4] == [
        ("bar", theme.BAND),
        ("line", theme.QUIET),
        ("area", theme.ACCENT),
        ("line", theme.ACCENT),
    ]
    placed = spec["datasets"][spec["layer"][0]["data"]["name"]]
    assert [(row["event"], row["position"]) for row in placed] == [("top", 2.0)]


def test_the_load_curve_names_its_events_under_their_posts():
    spec = load_curve.picture(SwingCurves(EVENTS, course()), "x").to_dict()
    axis = spec["layer"][0]["encoding"]["x"]["axis"]
    assert axis["values"] == [0, 1, 2, 3, 4]
    assert axis["labelExpr"].startswith('[["address"], ["takeaway"], ["top"], ["impact"], ["finish"]]')


def test_the_finding_of_the_load_curve_gives_both_sessions_at_the_top_and_at_impact():
    text = load_curve.finding(SwingCurves(EVENTS, course()))
    assert text == (
        "Lead foot: 54\u00a0% of the load at the top, 56\u00a0% at impact; first session: 64\u00a0% and 66\u00a0%"
    )


def test_the_trail_heels_lane_hangs_below_the_middle_and_the_scale_is_the_same_on_both_sides():
    spec = heel_lanes.picture(SwingCurves(EVENTS, lanes=lanes()), "x").to_dict()
    data = next(rows for rows in spec["datasets"].values() if "foot" in rows[0])
    down, up = (heel_lanes.TRAIL, foot_lines.TRAIL_FOOT), (heel_lanes.LEAD, foot_lines.LEAD_FOOT)
    assert {row["foot"] for row in data} == {*down, *up}
    assert all(row["height"] == -row["mean"] for row in data if row["foot"] in down)
    assert all(row["height"] == row["mean"] for row in data if row["foot"] in up)
    y = next(layer["encoding"]["y"] for layer in spec["layer"] if "axis" in layer["encoding"].get("y", {}))
    assert y["scale"]["domain"][0] == -y["scale"]["domain"][1]
    assert "abs(datum.value)" in y["axis"]["labelExpr"]


def test_the_heel_lanes_say_what_is_left_under_the_trail_heel():
    assert (
        heel_lanes.finding(SwingCurves(EVENTS, lanes=lanes()))
        == "Trail heel at impact: 15\u00a0% of body weight; first session: 15\u00a0%"
    )
    assert "estimated" in heel_lanes.words(SwingCurves(EVENTS, lanes=lanes(), estimated=True))
    rows = heel_lanes.table(SwingCurves(EVENTS, lanes=lanes()))
    assert rows.columns == ["Event", "Lead foot", "Lead heel", "Trail foot", "Trail heel"]
    assert rows["Trail heel"].to_list() == [f"{v}\u00a0% ({v - 2} to {v + 3})" for v in (12, 13, 14, 15, 16)]
    assert rows["Trail foot"].to_list() == [f"{v}\u00a0% ({v - 2} to {v + 3})" for v in (40, 41, 42, 43, 44)]
    said = heel_lanes.words(SwingCurves(EVENTS, lanes=lanes())).replace("\u00a0", " ")
    assert said.startswith(
        "Load in % of body weight. address: lead foot 60 % (its heel 30 %), trail foot 40 % (its heel 12 %); "
    )


def test_of_a_single_swing_no_spread_is_given():
    one = lanes().with_columns(lo=pl.col("mean"), hi=pl.col("mean"))
    assert heel_lanes.table(SwingCurves(EVENTS, lanes=one))["Lead heel"][0] == "30\u00a0%"


def test_the_fault_ladder_keeps_swing_order_and_a_scale_of_0_to_100_percent():
    spec = fault_ladder.picture(rates(), "x").to_dict()
    ring = spec["layer"][3]["encoding"]
    assert ring["y"]["sort"] == rates()["fault"].unique(maintain_order=True).to_list()
    assert ring["x"]["scale"]["domain"] == [0, 1]
    assert "%" in ring["x"]["title"]


def test_on_a_phone_no_fault_name_is_cut_off():
    spec = fault_ladder.picture(rates(), "x", narrow=True).to_dict()
    y = spec["layer"][3]["encoding"]["y"]
    assert y["axis"]["labelLimit"] == 0
    assert all(len(line) <= 20 for name in y["sort"] for line in name.split("\n"))
    assert len(set(y["sort"])) == 3


def test_change_is_said_by_word_and_shape_never_by_red_or_green():
    spec = json.dumps([fault_ladder.picture(rates(), "x").to_dict(), season()], ensure_ascii=False).lower()
    assert "▲ better" in spec
    for colour in ("red", "green", "#d62728", "#2ca02c"):
        assert f'"{colour}"' not in spec


def test_the_fault_ladder_in_words_gives_rate_swings_and_doubt():
    text = fault_ladder.words(rates())
    assert (
        "Crosses late: 20\u00a0% of 10\u00a0swings lately (90\u00a0% between 10\u00a0% and 30\u00a0%), before 60\u00a0%. Not clear yet."
        in text
    )
    assert fault_ladder.table(rates())["Change"].to_list() == ["Not clear yet", "▲ Better", "▲ Better"]


def test_small_multiples_share_one_scale_and_keep_the_order_they_come_in():
    spec = small_multiples.picture(Comparison(several(), SHARE, (65.0, 75.0)), "x").to_dict()
    assert spec["facet"]["sort"] == ["Zora  ▲", "Anna", "Mila"]
    assert "resolve" not in spec
    y = spec["spec"]["layer"][1]["encoding"]["y"]["scale"]["domain"]
    assert y[0] < 28
    assert y[1] > 75


def test_small_multiples_drawn_in_pieces_stand_on_the_scales_of_the_whole():
    whole = small_multiples.picture(Comparison(several(), SHARE, (65.0, 75.0)), "x").to_dict()
    piece = small_multiples.picture(Comparison(several(), SHARE, (65.0, 75.0)), "", only=["Mila"]).to_dict()
    assert piece["facet"]["sort"] == ["Mila"]
    assert "title" not in piece
    scales = [
        [layer["encoding"][axis]["scale"]["domain"] for layer in spec["spec"]["layer"][1:2] for axis in "xy"]
        for spec in (whole, piece)
    ]
    assert scales[0] == scales[1]


def test_a_first_screenful_and_the_rest_together_hold_every_student_once():
    many = pl.DataFrame({"student": [f"Student {n:02d}" for n in range(20)] * 2})
    assert [len(part) for part in small_multiples.screens(many)] == [12, 8]
    assert [len(part) for part in small_multiples.screens(many, narrow=True)] == [6, 14]
    assert [name for part in small_multiples.screens(many) for name in part] == sorted(
        many["student"].unique()
    )
    assert small_multiples.screens(several()) == [["Zora", "Anna", "Mila"]]


def test_a_first_day_stands_in_the_middle_of_its_panel():
    one = sessions().head(1).with_columns(student=pl.lit("A"), label=pl.lit(None, pl.String))
    spec = small_multiples.picture(Comparison(one, SHARE), "x").to_dict()
    assert all("domain" not in layer["encoding"]["x"].get("scale", {}) for layer in spec["spec"]["layer"])


def test_small_multiples_are_four_a_row_at_a_desk_and_two_on_a_phone():
    assert small_multiples.picture(Comparison(several(), SHARE), "x").to_dict()["columns"] == 4
    assert small_multiples.picture(Comparison(several(), SHARE), "x", narrow=True).to_dict()["columns"] == 2


def test_small_multiples_in_words_count_labels_without_ranking():
    text = small_multiples.words(Comparison(several(), SHARE))
    assert "3\u00a0students" in text
    assert "▲ Improving: 1." in text
    assert small_multiples.table(Comparison(several(), SHARE))["Student"].to_list() == [
        "Zora",
        "Anna",
        "Mila",
    ]


def test_ten_swings_fill_as_many_circles_as_go_well():
    rows = pl.DataFrame({"when": ["lately", "before"], "good": [0.8, 0.3]})
    spec = ten_swings.picture(rows, "x").to_dict()
    data = next(iter(spec["datasets"].values()))
    filled = {
        when: sum(d["how"] == "like this" for d in data if d["when"] == when) for when in ("lately", "before")
    }
    assert filled == {"lately": 8, "before": 3}
    assert ten_swings.words(rows) == "Lately: 8 of 10 swings. Before: 3 of 10 swings."


def test_practice_weeks_count_days_not_entries_and_show_weeks_without_any():
    days = [date(2026, 3, 2), date(2026, 3, 2), date(2026, 3, 4), date(2026, 3, 17)]
    rows = practice_weeks.weeks(
        pl.DataFrame(
            {"day": days, "dose": [10.0, 5.0, 20.0, 30.0], "unit": ["minutes", "minutes", "reps", "minutes"]}
        ),
        date(2026, 3, 17),
    )
    assert rows["days"].to_list() == [0, 0, 0, 0, 0, 2, 0, 1]
    assert rows["minutes"].to_list()[5] == 15
    assert "6 without" in practice_weeks.words(rows)


def test_the_foot_lines_are_one_ink_in_two_patterns_from_heel_to_toes():
    spec = foot_lines.picture(SwingCurves(EVENTS, places=places()), "x").to_dict()
    lines = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "line")
    assert lines["mark"]["color"] == theme.INK
    assert "color" not in lines["encoding"]
    assert lines["encoding"]["strokeDash"]["scale"]["range"] == [[1, 0], [6, 4]]
    assert lines["encoding"]["y"]["scale"]["domain"] == [0, 100]


def test_the_foot_lines_table_says_where_each_foot_should_be():
    drawn = SwingCurves(EVENTS, places=places())
    bands = {f"{EVENTS[3]}_lead_along_pct": (30.0, 56.0), f"{EVENTS[3]}_trail_along_pct": (60.0, None)}
    rows = foot_lines.table(drawn, bands)
    assert rows.columns == ["Event", "Lead foot", "Lead foot should be", "Trail foot", "Trail foot should be"]
    assert rows.row(3)[1:] == ("45", "30–56", "80", "over 60")
    assert rows.row(4)[1:] == ("48", "–", "–", "–")
    assert "lead foot 45, trail foot 80" in foot_lines.words(drawn)
    assert foot_lines.finding(drawn).startswith("Lead foot's pressure at impact: 45")


def test_a_load_below_zero_is_drawn_as_zero_and_given_as_measured():
    noise = lanes().with_columns(mean=pl.lit(-1.2), lo=pl.lit(-2.0), hi=pl.lit(0.5))
    drawn = SwingCurves(EVENTS, lanes=noise)
    spec = heel_lanes.picture(drawn, "x").to_dict()
    data = next(rows for rows in spec["datasets"].values() if "foot" in rows[0])
    assert {abs(row["height"]) for row in data} == {0.0}
    assert (
        heel_lanes.finding(drawn)
        == "Trail heel at impact: −1\u00a0% of body weight; first session: −1\u00a0%"
    )
    assert set(heel_lanes.table(drawn)["Lead heel"]) == {"−1\u00a0% (−2 to 0)"}


def test_each_heel_and_each_whole_foot_has_the_spread_of_its_swings_on_its_own_side():
    spec = heel_lanes.picture(SwingCurves(EVENTS, lanes=lanes()), "x").to_dict()
    areas = [layer["encoding"] for layer in spec["layer"] if layer["mark"]["type"] == "area"]
    assert [(area["y"]["field"], area["y2"]["field"]) for area in areas] == 2 * [
        ("height", "middle"),
        ("from", "to"),
    ]
    shown = [
        layer["transform"][1]["filter"]["oneOf"] for layer in spec["layer"] if layer["mark"]["type"] == "area"
    ]
    assert shown == 2 * [list(foot_lines.FEET)] + 2 * [list(heel_lanes.HEELS)]
    data = next(rows for rows in spec["datasets"].values() if "foot" in rows[0])
    for row in data:
        side = -1 if row["foot"] in (heel_lanes.TRAIL, foot_lines.TRAIL_FOOT) else 1
        assert (row["from"], row["to"]) == (side * row["lo"], side * row["hi"])


def test_on_a_phone_every_other_event_stands_below_the_times_of_its_neighbours():
    times = {event: 0.4 * k for k, event in enumerate(EVENTS)}
    axis = load_curve.event_axis(SwingCurves(EVENTS, course(), times=times), narrow=True).to_dict()["axis"]
    labels = json.loads(axis["labelExpr"].removesuffix("[datum.value]"))
    names = [["address", "0.00\u00a0s"], ["takeaway", "0.40\u00a0s"], ["top", "0.80\u00a0s"]]
    below = [load_curve.BLANK] * 2
    assert labels[:3] == [names[0], below + names[1], names[2]]
    assert not load_curve.BLANK.isspace()  # a browser gives a line of spaces no height


def test_a_panel_and_its_name_open_the_students_page_where_one_is_given():
    linked = several().with_columns(page=pl.lit("student?as=h01&student=") + pl.col("student"))
    spec = small_multiples.picture(Comparison(linked, SHARE), "x").to_dict()
    opening = [layer for layer in spec["spec"]["layer"] if "href" in layer["encoding"]]
    assert [layer["mark"]["type"] for layer in opening] == ["rect", "text"]
    assert {layer["encoding"]["href"]["field"] for layer in opening} == {"page"}
    rows = next(iter(spec["datasets"].values()))
    assert {row["page"] for row in rows if row["student"] == "Zora"} == {"student?as=h01&student=Zora"}
    assert sum(row["once"] for row in rows) == 3  # one link a panel, not one a session
    assert spec["facet"]["header"]["labelExpr"] == "''"
    plain = small_multiples.picture(Comparison(several(), SHARE), "x").to_dict()
    assert not any("href" in layer["encoding"] for layer in plain["spec"]["layer"])
