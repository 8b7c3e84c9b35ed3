"""Agreed aims on the Student page and in the note form."""

from datetime import date, datetime

import polars as pl
import pytest

from dashboard import agreed_aims
from dashboard.pages.notes import lines as notes
from dashboard.queries import people
from dashboard.student_season import StudentSeason
from warehouse.errors import CallError
from warehouse.store import writer
from warehouse.tables import columns

METRICS = ["impact_trail_heel_pct_bw", "mid_back_trail_share_pct"]
NOW = datetime(2026, 3, 24).astimezone()


def aim(label, **more):
    return {
        "note": f"n-{label}", "student": "s01", "season": "2026", "club_family": "iron", "metrics": METRICS,
        "agreed": date(2026, 4, 1), "due": date(2026, 7, 1), "shared": True, "wanted": 2.0, "weights": [0.6, 0.4],
        "worthwhile": [1.2, 1.0], "changes": [4.0, -1.5], "ses": [1.0, 1.0], "n_before": 4, "n_since": 5,
        "last_day": date(2026, 6, 1), "change": 3.0, "se": 1.0, "p": 0.998, "look": 3, "looked": date(2026, 6, 1),
        "bound": 2.1, "label": label, "gap_days": 14.0, "swings": 12, "show_by": date(2026, 8, 5),
        "show_by_weekly": date(2026, 6, 20), "least": 2.5, "least_weekly": 1.9, "least_double_swings": 2.4,
    } | more  # fmt: skip


@pytest.fixture
def said(homes, reader_of):
    def read(**row):
        with writer(homes("agreed")) as w:
            w.execute("DELETE FROM season.agreed_aim")
            w.append("season.agreed_aim", pl.DataFrame([aim(**row)], schema=columns("season.agreed_aim")))
            w.publish()
        reader = reader_of("agreed", "c01")
        (found,) = agreed_aims.sections(StudentSeason(reader, people.student(reader, "s01"), "2026", "iron"))
        return found

    return read


def test_an_aim_that_shows_is_said_with_its_doubt_its_parts_and_when_it_would_show(said):
    found = said(label="reached")
    agreed, verdict, power = found.sentences
    assert "1 April 2026" in agreed
    assert "by 1 July 2026" in agreed
    assert verdict.startswith(
        "The change has shown since the session of 1 June 2026: together they changed for the better."
    )
    assert verdict.replace("\u00a0", " ").endswith(
        "Up to 1 June 2026 they have together gone +150 % of the way, 90 % between +68 % and +232 %."
    )
    heel, back = (
        "“Load left under the trail heel at impact”",
        "“Trail share when the lead arm is parallel going back”",
    )
    assert power.replace("\u00a0", " ") == (
        "With 12 full swings a visit and a visit every 14 days, a change of "
        f"2.4 % of body weight in {heel} and 2.0 points in {back} would show by 5 August 2026 (in 7 to 8 cases of 10). "
        f"By 1 July 2026, a change of 3.0 % of body weight in {heel} and 2.5 points in {back} would. "
        f"With a visit every week: 2.3 % of body weight in {heel} and 1.9 points in {back}. "
        f"With twice the swings a visit: 2.9 % of body weight in {heel} and 2.4 points in {back}."
    )
    table, _ = found.table
    assert [text[:2] for text in table["Change since"]] == ["+4", "−2"]
    assert table["Counts for"].to_list() == ["60\u00a0%", "40\u00a0%"]


def test_an_aim_of_one_measure_is_said_in_its_own_unit(said):
    one = {"metrics": METRICS[:1], "weights": [1.0], "worthwhile": [1.2], "changes": [-3.6], "ses": [1.2]}
    agreed, verdict, power = said(label="reached", **one).sentences
    assert agreed.endswith("To get better: load left under the trail heel at impact.")
    assert verdict.replace("\u00a0", " ").endswith(
        "Up to 1 June 2026 the change for the better is +3.6 % of body weight, 90 % between +1.6 and +5.6 % of body weight."
    )
    assert "a change of 2.4\u00a0% of body weight would show by 5 August 2026" in power
    assert "worthwhile" not in f"{verdict} {power}"


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("not_yet", "The change does not show yet."),
        ("not_reached", "did not show by the due date."),
        ("too_soon", "So far there are 4 and 5."),
    ],
)
def test_each_label_has_its_sentence(said, label, words):
    assert words in said(label=label).sentences[1]


@pytest.mark.parametrize(
    ("would_show", "words"),
    [
        (True, "it would have shown by now (80\u00a0%)"),
        (False, "so nothing can be read into it"),
        (None, "due date. Up to"),
    ],
)
def test_what_follows_from_no_change_depends_on_whether_one_would_have_shown(said, would_show, words):
    assert words in said(label="not_reached", would_show=would_show).sentences[1]


def test_a_measure_that_weighs_nothing_beside_another_is_said_in_words(said):
    table, _ = said(label="reached", weights=[1.0, 0.0]).table
    assert table["Counts for"].to_list() == ["everything", "nothing: the others say it better"]


def test_lesson_sheet_and_progress_page_say_what_became_of_an_aim_until_a_month_after_it(
    homes, reader_of, said
):
    def brief(*, plainly=False, **row):
        said(**row)
        reader = reader_of("agreed", "c01")
        chosen = StudentSeason(reader, people.student(reader, "s01"), "2026", "iron")
        return agreed_aims.briefly(chosen, plainly=plainly)

    ended = {"looked": date(2026, 3, 20), "due": date(2026, 3, 22), "would_show": True}
    agreed = "greed on 1 April 2026, due by 22 March 2026. To get better: "
    silence = "If it were on course for what was agreed, it would have shown by now (80 %)."
    staff = {
        "reached": f"The change has shown since 20 March 2026. {silence}", "not_yet": f"It does not show yet. {silence}",
        "not_reached": f"It did not show by then. {silence}", "too_soon": f"Too soon to say. {silence}",
    }  # fmt: skip
    plain = {
        "reached": "It has shown in your swings since 20 March 2026: well done.",
        "not_yet": "It does not show in your swings yet. Change takes time, and needs several visits to show.",
        "not_reached": "It did not show in your swings by then. Talk with your coach about what comes next.",
        "too_soon": "It takes a few more visits to see it.",
    }
    for label, to_staff in staff.items():
        (said_to_staff,) = brief(label=label, **ended)
        (said_plainly,) = brief(label=label, plainly=True, **ended)
        assert said_to_staff.startswith(f"A{agreed}“Load left under the trail heel at impact” and “")
        assert said_to_staff.replace("\u00a0", " ").endswith(f"”. {to_staff}")
        assert said_plainly.startswith(
            "You and your coach agreed on 1 April 2026 to work on this until 22 March 2026: “"
        )
        assert said_plainly.endswith(f"”. {plain[label]}")
    assert brief(label="not_reached", due=date(2026, 1, 10)) == ()


def test_an_aim_too_soon_to_judge_has_no_table_and_no_forecast(said):
    nothing = dict.fromkeys(
        ("change", "se", "gap_days", "swings", "show_by", "least", "look", "looked", "wanted")
    )
    found = said(label="too_soon", changes=[], ses=[], weights=[], **nothing)
    assert found.table is None
    assert found.sentences[2] == ""


def test_an_aim_that_would_not_show_within_a_year_says_so(said):
    assert "would probably not show within a year" in said(label="not_yet", show_by=None).sentences[2]


def test_the_form_is_given_what_would_show_by_when_of_every_set_of_measures_and_what_more_would_buy(
    homes, reader_of
):
    row = {"student": "s01", "season": "2026", "club_family": "iron", "metrics": METRICS, "gap_days": 14.2,
           "worthwhile": [1.2, 1.0], "swings": 12, "least": 2.0004, "least_weekly": 1.5, "least_double_swings": 1.9}  # fmt: skip
    never = row | dict.fromkeys(("least", "least_weekly", "least_double_swings"))
    alone = row | {"metrics": METRICS[:1], "worthwhile": [1.2], "least": 3.0}
    with writer(homes("forecast")) as w:
        w.execute("DELETE FROM season.aim_forecast")
        rows = [
            row | {"weeks": 13},
            never | {"weeks": 4},
            alone | {"weeks": 8},
            alone | {"weeks": 8, "student": "s02"},
        ]
        w.append("season.aim_forecast", pl.DataFrame(rows, schema=columns("season.aim_forecast")))
        w.publish()
    found = agreed_aims.forecasts(reader_of("forecast", "c01"), "s01")
    together, one = found["sets"][" ".join(METRICS)], found["sets"][METRICS[0]]
    assert together["by"] == [[4, None, None, None], [13, 2.0, 1.5, 1.9]]
    assert one["by"] == [[8, 3.0, 1.5, 1.9]]
    rhythm = together["rhythm"].replace("\u00a0", " ")
    assert rhythm == "With 12 full swings a visit and a visit every 14 days"
    assert found["sizes"] == {METRICS[0]: (1.2, 0, "\u00a0% of body weight"), METRICS[1]: (1.0, 0, "\u00a0%")}
    said = {weeks: soon.replace("\u00a0", " ") for weeks, soon in found["soon"].items()}
    assert said == {4: "in 4 weeks", 8: "in 8 weeks", 13: "in 13 weeks"}
    assert found["never"].replace("\u00a0", " ") == "not within 13 weeks"
    assert "7 to 8 cases of 10" in found["words"]["several"]


def form(**filled):
    quiet = {"grade": "2", "dose": "20", "unit": "reps", "pace": "half", "place": "home", "shared": True}
    return notes.lines(quiet | filled, author="c01", student="s01", now=NOW)


def test_the_form_keeps_an_agreed_aim():
    (line,) = form(aim_1="recentre_pts", aim_3="trail_push_off_pct_bw", aim_due="2026-07-01", aim_size="3")
    kept = {key: value for key, value in line.items() if key not in ("student", "author", "at")}
    assert kept == {
        "kind": "agreed_aim", "code": "recentre_pts", "kindred": "trail_push_off_pct_bw", "due": "2026-07-01",
        "value": 3.0, "shared": True,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("filled", "words"),
    [
        ({"aim_1": "recentre_pts"}, "no due date"),
        ({"aim_1": "recentre_pts", "aim_due": "2026-03-24"}, "after today and within a year"),
        ({"aim_1": "recentre_pts", "aim_2": "recentre_pts", "aim_due": "2026-07-01"}, "a measure twice"),
        ({"aim_1": "recentre_pts", "aim_due": "2026-07-01", "aim_size": "0"}, "must be more than 0"),
    ],
)
def test_an_aim_that_cannot_be_meant_says_why(filled, words):
    with pytest.raises(CallError, match=words):
        form(**filled)
