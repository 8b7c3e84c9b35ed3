"""Drills, Coaches, How sure are we and Data quality: what they say, to whom, and what they keep back."""

import json
from importlib import metadata

import polars as pl
import pytest

from dashboard.pages.drills import verdicts
from dashboard.pages.quality import content as quality
from dashboard.text import reasons
from warehouse.store import writer


def titles(at):
    """The finding of every picture of a page, each in one line."""
    specs = [json.loads(element.proto.spec) for element in at.get("vega_lite_chart")]
    return [" ".join(spec["title"]["text"]) for spec in specs]


def charts(at):
    return "".join(str(element.proto) for element in at.get("vega_lite_chart"))


def test_drills_say_that_the_data_are_no_trial_and_what_each_kept(visit, page_text):
    text = page_text(visit("full", "drills", "c01", drill="d01", fault="trail_heel_down"))
    assert "These data are not a trial" in text
    assert (
        "On “Trail heel still down at impact”: +12\u00a0points (90\u00a0% between +9 and +15) kept at the end of the "
        "season, where plus is better; 12\u00a0students, set 36\u00a0times. ▲ Helps." in text
    )
    assert "The change on the day overstates what is kept" in text


def test_the_forest_names_what_helps_and_what_harms(visit):
    finding = titles(visit("full", "drills", "h01"))[0]
    assert (
        finding == "▲\u00a0Heel-off strikes helps; ▽\u00a0Slow count harms; nothing clear about 1\u00a0other"
    )


def test_the_plan_ranks_by_what_was_kept_then_too_little_data_then_untried(visit, page_text):
    text = page_text(visit("full", "drills", "h01", fault="trail_heel_down"))
    assert (
        "For “Trail heel still down at impact”, Heel-off strikes helps, as far as this season shows." in text
    )
    order = [
        text.index(f"{k}. **{name}**")
        for k, name in enumerate(("Heel-off strikes", "Slow count", "Quiet feet", "Never set"), 1)
    ]
    assert order == sorted(order)
    assert "3\u00a0students, set 9\u00a0times: too little data to rank." in text
    assert "Never set, or never measured before and after: its effect is unknown." in text


def test_a_drill_shows_its_cautions_its_age_and_for_whom(visit, page_text):
    text = page_text(visit("full", "drills", "h01", drill="d03"))
    assert "For players aged 14 and over." in text
    assert "With eyes closed: a flat, dry floor" in text
    groups = visit("full", "drills", "h01", drill="d01")
    assert "Not shown, with fewer than 8 students: County (3)." in page_text(groups)
    assert "Under 18 years" in charts(groups)


def test_doses_assigned_by_random_draw_are_said_apart(visit, page_text):
    text = page_text(visit("full", "drills", "h01", drill="d02"))
    assert "Assigned by random draw between it and Heel-off strikes: at look 1 of 3 it had kept −3" in text
    assert "So far 22\u00a0students have been measured twice since their draw; 40 were planned." in text
    assert "of 100 pairs of equally good drills, about 5 would still seem to differ" in text
    assert "It has not been assigned by random draw yet" in page_text(
        visit("full", "drills", "h01", drill="d01")
    )


def test_a_drills_students_are_named_to_their_own_coach_only(visit):
    def links(person):
        at = visit("full", "drills", person, drill="d01")
        return json.dumps([str(link.proto) for link in at.get("page_link")])

    assert "Sanna Test" in links("c01")
    assert "Sanna" not in links("c02")


@pytest.mark.parametrize("kind", ["empty", "one_session"])
def test_drills_without_answers_still_show_how_each_is_done(visit, page_text, kind):
    text = page_text(visit(kind, "drills", "c01"))
    assert "No effect has been estimated yet" in text
    assert "Strike with the trail heel already light." in text
    assert "Helps" not in text


def test_coaches_opens_with_how_the_groups_do_and_folds_the_gains_with_what_they_cannot_show(
    visit, page_text
):
    at = visit("full", "coaches", "h01")
    first = at.main.markdown[1].value
    assert first.startswith("**3\u00a0students this season: ")
    assert "1 has an open discomfort." in first
    (folded,) = [e for e in at.expander if e.label.startswith("Do the groups gain differently?")]
    assert "This page can't show who coaches best." in folded.markdown[0].value
    assert "nobody is ranked" in page_text(at)


def test_the_head_coach_sees_the_coaches_by_name_a_coach_their_own_dot_only(visit, page_text):
    head, own = visit("full", "coaches", "h01"), visit("full", "coaches", "c02")
    assert "Caro Lindt" in charts(head)
    assert "Cato Brandt" in charts(head)
    assert "Cato Brandt" in charts(own)
    assert "Caro" not in charts(own) + page_text(own)
    assert "c01" not in charts(own)


def test_a_coach_of_few_students_is_shown_as_too_few_and_never_drawn(visit, page_text):
    head = visit("full", "coaches", "h01")
    assert "of yours measured" not in page_text(head)
    assert "Not shown, with fewer than 8 students: Hedda Quist (3)." in page_text(head)
    assert "Hedda" not in charts(head)
    assert "1 other coach has too few students with room to gain to be shown." in page_text(
        visit("full", "coaches", "c01")
    )


def test_a_coach_whose_students_have_no_room_to_gain_has_no_dot_and_is_told_why(homes, visit, page_text):
    with writer(homes("no_room")) as w:
        w.execute("UPDATE season.coach_gain SET n_room = 2, shown = false WHERE coach = 'c02'")
        w.publish()
    head, own = visit("no_room", "coaches", "h01"), visit("no_room", "coaches", "c02")
    assert "Cato Brandt (2 of 9 with room)" in page_text(head)
    assert "Hedda Quist (3)" in page_text(head)
    assert "Cato" not in charts(head)
    assert "2 of your 9\u00a0students are outside their targets" in page_text(own)


def test_how_sure_are_we_gives_reliability_calibration_and_agreement(visit, unfold, page_text):
    at = unfold(visit("full", "trust", "c01"))
    text = page_text(at)
    assert len(at.get("vega_lite_chart")) == 3
    assert titles(at)[0] == "Irons: one session tells students apart well on 1 of 2 measures"
    assert "Of 3\u00a0figures with a goal, 2 met it. Missed somewhere: “The 90 % interval" in text
    assert "5.5\u00a0% of body weight" in text
    assert titles(at)[2].startswith("Eye and plate agree least on “Trail heel still down at impact”")


def test_a_coach_compares_their_own_eye_and_not_anothers(visit):
    boxes = {box.label: box.options for box in visit("full", "trust", "c01").selectbox}
    assert boxes["Whose eye"] == ["All coaches", "Caro Lindt"]
    boxes = {box.label: box.options for box in visit("full", "trust", "h01").selectbox}
    assert boxes["Whose eye"] == ["All coaches", "Caro Lindt", "Cato Brandt"]


def test_how_sure_are_we_says_what_is_missing(visit, page_text):
    text = page_text(visit("one_session", "trust", "h01"))
    assert "it takes students measured in several sessions each" in text
    assert "make calibration" in text
    assert "Nothing to compare yet" in text


def test_data_quality_is_for_the_head_coach_by_reason_device_and_coach(visit, page_text):
    at = visit("full", "quality", "h01")
    text = page_text(at)
    assert titles(at)[0].startswith("5\u00a0swings and deliveries left out, 3.3\u00a0% of what came in")
    assert "Samples were missing for a moment" in text
    assert "No consent covers the day" in text
    assert "This page is not for you" in page_text(visit("full", "quality", "c01"))


def test_data_quality_says_which_version_runs_and_what_has_changed(visit, page_text):
    at = visit("full", "quality", "h01")
    assert f"Underfoot, version {metadata.version('underfoot')}" in page_text(at)
    assert quality.changelog().startswith("# Changelog")
    assert "Save the changelog" in [button.label for button in at.get("download_button")]


def test_data_quality_follows_its_filters(visit, page_text):
    text = page_text(visit("full", "quality", "h01", **{"left-coach": "Cato Brandt"}))
    assert "Nothing was left out here: all of 50\u00a0swings count." in text
    at = visit("full", "quality", "h01", by="device")
    assert titles(at)[0].endswith("most by device: mat-east (4)")


def test_every_refusal_and_mark_of_the_project_has_words(pytestconfig):
    """A code nobody gave words to still reads as words, without its underscores."""
    assert reasons.reason("no_consent") == "no consent covers the day"
    assert reasons.reason("dropout") == "samples were missing for a moment"
    assert reasons.reason("some_new_thing") == "some new thing"


def test_every_picture_folds_out_into_words_a_table_and_files_and_only_then_makes_them(
    visit, unfold, page_text
):
    folded = visit("full", "coaches", "h01")
    groups, dots = 1, 1
    assert len(folded.expander) == 2  # the gains, and what folds out below their picture
    assert len(folded.dataframe) == groups
    at = unfold(folded)
    assert len(at.dataframe) == groups + dots
    assert "Cato Brandt,+0.10,+0.05" in page_text(at)  # the dot, and drawn toward the others
    names = [button.proto.label for button in at.get("download_button")]
    assert names == [
        "Save table (CSV)", "Save table (CSV)", "Save picture (PNG)", "Save picture (SVG)",
    ]  # fmt: skip


def test_students_are_filtered_by_level_and_age_in_the_address(visit):
    grown = visit("full", "students", "h01", age="40_to_59", on="impact_trail_heel_pct_bw")
    assert "Sven" in charts(grown)
    assert "Sanna" not in charts(grown)
    young = visit("full", "students", "h01", age="under_18", level="club", on="impact_trail_heel_pct_bw")
    assert "Sanna" in charts(young)
    assert "Sven" not in charts(young)


def test_filters_that_leave_nobody_say_what_to_change(visit, page_text, homes):
    with writer(homes("levels")) as w:
        w.execute("UPDATE academy.person SET level = 'county' WHERE person = 's02'")
        w.publish()
    text = page_text(visit("levels", "students", "h01", age="under_18", level="county"))
    assert "No student matches all of these." in text


def row(**more):
    return {
        "aim_name": "Crosses late", "label": "no_clear_effect", "kept": 1.0, "kept_lo": -3.0, "kept_hi": 5.0, "unit": "points",
        "places": 0, "swc": 10.0, "same_day": None, "same_day_kind": None, "n_students": 12, "n_doses": 20, "n_lots": 0, "lots": None,
    } | more  # fmt: skip


def test_a_drill_without_a_clear_effect_says_from_where_a_change_is_worth_it():
    assert "No clear effect. A change is worth the time from 10.0\u00a0points up." in verdicts.drill_sentence(
        row()
    )
    assert "worth the time" not in verdicts.drill_sentence(row(label="helps"))


def test_too_little_data_gives_no_number():
    said = verdicts.drill_sentence(row(label="too_little_data", n_students=3))
    assert (
        said
        == "On “Crosses late”: 3\u00a0students, set 20\u00a0times. Too little data to say whether it helps."
    )


def test_a_change_on_the_day_with_nothing_to_compare_is_not_called_an_effect():
    day = {"same_day": 9.0, "same_day_lo": 5.0, "same_day_hi": 13.0}
    assert "Change on the day, warming up included: +9" in verdicts.drill_sentence(
        row(**day, same_day_kind="change")
    )
    assert "compared with sessions without a drill: +9" in verdicts.drill_sentence(
        row(**day, same_day_kind="effect")
    )


@pytest.mark.parametrize(("half", "weak"), [(15.0, False), (25.0, True)])
def test_a_wide_interval_is_called_weak_evidence(half, weak):
    said = verdicts.evidence_sentence(row(kept_lo=1 - half, kept_hi=1 + half))
    assert ("may be quite different" in said) == weak


def test_the_plans_order_compares_kept_effects_in_worthwhile_changes():
    frame = pl.DataFrame(
        [
            {"drill": "a", "name": "A", "label": "no_clear_effect", "kept": 4.0, "swc": 4.0},
            {"drill": "b", "name": "B", "label": "helps", "kept": 3.0, "swc": 1.0},
            {"drill": "c", "name": "C", "label": "too_little_data", "kept": 90.0, "swc": 1.0},
            {"drill": "d", "name": "D", "label": None, "kept": None, "swc": None},
        ]
    )
    ranks = verdicts.ranked(frame.reverse())
    assert ranks["drill"].to_list() == ["b", "a", "c", "d"]
    assert verdicts.answer(ranks.tail(2), "X").startswith("For “X”, no drill has enough data")
    assert "may be chance" in verdicts.answer(ranks.tail(3), "X")


def test_a_link_to_the_page_that_is_open_moves_its_choice_and_the_control_still_holds(visit):
    def box(at):
        return next(box for box in at.selectbox if box.label == "Drill")

    at = visit("full", "drills", "h01", drill="d01")
    at.query_params["drill"] = "d03"
    assert box(at.run()).value == "d03"
    assert box(box(at).set_value("d02").run()).value == "d02"
    assert at.query_params["drill"] == "d02"
