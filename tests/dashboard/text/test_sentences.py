"""Sentences: units always, doubt in words and numbers, and no claim beyond the tables' labels."""

from datetime import date

import pytest

from dashboard.charts import look
from dashboard.text import catalogue, labels, numbers, sentences
from dashboard.text.labels import area_name
from dashboard.text.numbers import Measure
from warehouse.definitions import usual_faults

HEEL = Measure("h", "Load left under the trail heel at impact", "% of body weight", "", "down", 0)
TIME = Measure("t", "Load crosses, time before impact", "s", "", "band", 2)


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "text"),
    [
        (71.4, "%", 0, "71\u00a0%"),
        (71.6, "%", 0, "72\u00a0%"),
        (-0.26, "s", 1, "−0.3\u00a0s"),
        (-0.4, "%", 0, "0\u00a0%"),
        (-3.2, "points", 1, "−3.2\u00a0points"),
        (None, "s", 2, "–"),
        (float("nan"), "s", 2, "–"),
    ],
)
def test_a_number_carries_its_unit_a_real_minus_and_never_a_minus_nought(value, unit, decimals, text):
    assert numbers.number(value, unit, decimals) == text


def test_a_long_unit_is_said_once_and_a_short_one_each_time():
    assert HEEL.say_both(18, 2, " → ") == "18 → 2\u00a0% of body weight"
    assert TIME.say_both(0.08, 0.14, " → ") == "0.08\u00a0s → 0.14\u00a0s"


def trend(label, **more):
    return {"label": label, "n_sessions": 6, "start_value": 18.0, "value_now": 2.0, "change": -16.0, "change_lo": -20.0,
            "change_hi": -12.0, "p_better": 0.97, "p_worse": 0.01, "p_improved": 0.4, "p_slipped": 0.0} | more  # fmt: skip


def test_a_real_change_is_said_with_its_interval_and_its_certainty():
    text = sentences.trend_sentence(HEEL, trend("improving"), "inside the target", 6)
    assert text.replace("\u00a0", " ") == (
        f"{HEEL.label}: 18 → 2 % of body weight, inside the target. Change −16 % of body weight, 90 % between "
        "−20 and −12 % of body weight. ▲ Improving. Very likely (97 %)."
    )


def test_a_share_changes_by_points_and_a_chart_title_keeps_a_shape_beside_its_word():
    share = Measure("s", "Lead share", "%", "", "band", 0)
    text = sentences.trend_sentence(share, trend("improving"), "inside the target", 6)
    assert "18\u00a0% → 2\u00a0%" in text
    assert "Change −16\u00a0points, 90\u00a0% between −20 and −12\u00a0points." in text
    lines = look.title("Lead share, irons: of 48 students, ● 2 holding and ▲ 4 improving", narrow=True).text
    assert not any(line.endswith(("●", "▲")) for line in lines)


@pytest.mark.parametrize("label", ["not_clear", "holding"])
def test_nothing_is_called_real_that_the_table_does_not(label):
    text = sentences.trend_sentence(HEEL, trend(label), "inside the target", 6)
    assert "Real" not in text
    assert labels.label(label) in text


def test_without_a_fit_nothing_is_claimed():
    assert "nothing is claimed" in sentences.trend_sentence(HEEL, None, "inside the target", 6)
    assert "Too few sessions" in sentences.trend_sentence(HEEL, None, "inside the target", 2)
    assert "Too few sessions" in sentences.trend_sentence(HEEL, trend("too_few", n_sessions=2), "x", 2)


@pytest.mark.parametrize(
    ("value", "place"),
    [
        (60, "below the target"),
        (70, "inside the target"),
        (80, "above the target"),
        (65, "inside the target"),
    ],
)
def test_a_value_stands_below_inside_or_above_its_band(value, place):
    assert sentences.band_place(value, 65, 75) == place
    assert sentences.band_place(value, None, None) == "no target set"


@pytest.mark.parametrize(
    ("lo", "hi", "target"),
    [
        (0.1, 0.2, "0.10\u00a0s to 0.20\u00a0s"),
        (0.1, None, "0.10\u00a0s or more"),
        (None, 0.2, "0.20\u00a0s or less"),
        (None, None, "not set"),
    ],
)
def test_a_target_is_said_with_both_ends_with_one_or_as_not_set(lo, hi, target):
    assert TIME.say_target(lo, hi) == target


def test_ten_swings_say_about_where_the_rate_is_not_exact():
    assert numbers.in_ten(0.8) == "8 of 10"
    assert numbers.in_ten(0.77) == "about 8 of 10"


def test_every_fault_of_the_rules_has_plain_words_for_a_student():
    assert [fault.code for fault in usual_faults() if not fault.instead] == []


def test_every_label_has_plain_words_that_do_not_shame():
    known = {
        labels.IMPROVING,
        labels.SLIPPING,
        labels.HOLDING,
        labels.NOT_CLEAR,
        labels.TOO_FEW,
        labels.BETTER,
        labels.WORSE,
    }
    assert set(labels.PLAINLY) == known
    for word in ("bad", "poor", "fail", "wrong", "worse"):
        assert all(word not in text.lower() for text in labels.PLAINLY.values())


def test_days_and_counts_read_as_english():
    assert numbers.on(date(2026, 4, 7)) == "7 April 2026"
    assert numbers.count(1, "swing") == "1\u00a0swing"
    assert numbers.count(1200, "swing") == "1,200\u00a0swings"
    assert numbers.listed(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize(
    ("noted", "english", "german"),
    [
        ("left_knee", "left knee", "Knie links"),
        ("lower back", "lower back", "unterer Rücken"),
        ("my hip", "my hip", "my hip"),
    ],
)
def test_an_area_of_the_body_is_named_in_either_language(noted, english, german):
    said = {}
    for language in ("de", "en"):
        catalogue.use(language)
        said[language] = area_name(noted)
    assert said == {"en": english, "de": german}
