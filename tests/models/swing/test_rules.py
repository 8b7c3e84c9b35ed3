"""The rule files against one another, and what academy.toml may and may not say."""

import re

import pytest

from models.swing.rules import load_rules
from warehouse.definitions import metric_codes
from warehouse.errors import UnderfootError
from warehouse.settings import Settings
from warehouse.tables import table_sql

RULES = load_rules()
PHASES = ("address", "start", "back", "top", "down", "impact", "finish")


def table_columns(name):
    lines = table_sql(name).splitlines()
    return [m[1].strip('"') for line in lines if (m := re.match(r'\s+("?\w+"?)\s+[A-Z]', line))]


def own(bands=(), limits=()):
    return load_rules(Settings("A", "UTC", bands=tuple(bands), faults=tuple(limits)))


def test_metric_files_table_and_definitions_name_the_same_metrics_in_one_order():
    assert tuple(table_columns("academy.swing_metric")) == (
        "session",
        "swing_no",
        "crossing",
        *metric_codes(),
    )
    assert tuple(m.code for m in RULES.metrics) == metric_codes()


def test_every_metric_is_defined_in_full():
    for metric in RULES.metrics:
        for part in ("formula", "unit", "source", "example"):
            assert getattr(metric, part), (metric.code, part)


def test_metric_words_are_fit_for_the_screen():
    for metric in RULES.metrics:
        assert metric.better in {"up", "down", "band", "none"}
        assert metric.phase in PHASES
        assert metric.explain.endswith(".")
        assert "_" not in metric.label
        assert 0 <= metric.decimals <= 2
        assert metric.usual_spread > 0
        assert metric.needs_heel == bool(re.search(r"heel_share|heel_part|_heel\b", metric.formula))
    assert any(metric.core for metric in RULES.metrics)


def test_units_in_names_and_on_screen_agree():
    endings = {
        "_pct_s": "%/s",
        "_mm_s": "mm/s",
        "_pct_bw": "% of body weight",
        "_pts": "points",
        "_mm": "mm",
        "_s": "s",
    }
    for metric in RULES.metrics:
        ending = next((e for e in endings if metric.code.endswith(e)), None)
        if ending:
            assert metric.unit == endings[ending], metric.code


def test_faults_are_in_swing_order_and_read_known_metrics():
    phases = [f.phase for f in RULES.faults]
    assert phases == sorted(phases, key=PHASES.index)
    assert len({f.code for f in RULES.faults}) == len(RULES.faults)
    for fault in RULES.faults:
        assert set(fault.metrics) <= set(metric_codes())


def test_band_metrics_have_bands_and_no_band_is_for_a_putter():
    with_band = {band.metric for band in RULES.bands}
    for metric in RULES.metrics:
        if metric.better == "band":
            assert metric.code in with_band, metric.code
    assert "putter" not in {band.club_family for band in RULES.bands}


def test_an_own_band_takes_the_defaults_place_for_its_family():
    rules = own(bands=[{"metric": "mid_back_trail_share_pct", "club_family": "iron", "lo": 64, "hi": 76}])
    found = {b.club_family: (b.lo, b.hi) for b in rules.bands if b.metric == "mid_back_trail_share_pct"}
    assert found["iron"] == (64, 76)
    assert found["wedge"] == (65, 75)


def test_an_own_band_for_a_level_stands_beside_the_default():
    rules = own(
        bands=[
            {
                "metric": "mid_back_trail_share_pct",
                "club_family": "iron",
                "level": "junior",
                "lo": 62,
                "hi": 76,
            }
        ]
    )
    found = [
        (b.level, b.lo)
        for b in rules.bands
        if b.metric == "mid_back_trail_share_pct" and b.club_family == "iron"
    ]
    assert found == [(None, 65.0), ("junior", 62.0)]


def test_an_own_band_without_a_family_does_not_open_the_long_clubs():
    rules = own(bands=[{"metric": "impact_gain_pts", "lo": 0, "hi": 9}])
    assert {b.club_family for b in rules.bands if b.metric == "impact_gain_pts"} == {"iron", "wedge"}


@pytest.mark.parametrize(
    ("bands", "limits", "sentence"),
    [
        ([], [{"code": "stays_centred", "limit": 68}], "limit 68 of fault stays_centred lies inside the band 65–75 of mid_back_trail_share_pct for the"),
        ([{"metric": "mid_back_trail_share_pct", "club_family": "iron", "lo": 55, "hi": 75}], [], "limit 60 of fault stays_centred lies inside the band 55–75"),
        ([], [{"code": "stays_centred", "limit": 80}], "lies inside the band 65–75"),  # beyond it, on the wrong side
        ([{"metric": "mid_back_trail_share_pct", "club_family": "iron", "hi": 75}], [], "limit 60 of fault stays_centred lies inside the band –75 of mid_back_trail_share_pct for the iron; give the band a lo of 60 or more."),
        ([{"metric": "address_lead_along_pct", "club_family": "iron", "lo": 40}], [], "lies inside the band 40– of address_lead_along_pct for the iron; give the band a hi of 72 or less."),
        ([], [{"code": "uneven_at_address", "limit": [47, 58]}], "limit 47 of fault uneven_at_address"),
        ([], [{"code": "target_drift", "limit": 7}], "limit 7 of fault target_drift"),
        ([], [{"code": "trail_heel_sink", "limit": [15, 35]}], "limit 35 of fault trail_heel_sink"),
        ([], [{"code": "toes_at_address", "limit": 66}], "limit 66 of fault toes_at_address"),
        ([], [{"code": "no_such", "limit": 1}], "no_such is no fault"),
        ([], [{"code": "uneven_at_address", "limit": 40}], "1 limit(s), needs 2"),
        ([], [{"code": "trail_push", "limit": "four"}], "limit of [[fault]] trail_push is 'four'"),
        ([], [{"code": "trail_push", "limit": 6, "clear": 0}], "clear = 0"),
        ([], [{"code": "trail_push", "limit": 6, "club_family": "spoon"}], 'club_family = "spoon"'),
        ([], [{"code": "target_drift", "style": "sideways"}], 'style = "sideways"'),
        ([{"metric": "shoe_size", "lo": 1}], [], "shoe_size names no metric"),
        ([{"metric": "recentre_pts"}], [], "neither lo nor hi"),
        ([{"metric": "recentre_pts", "lo": 9, "hi": 5}], [], "lo must be under hi"),
        ([{"metric": "recentre_pts", "lo": float("nan")}], [], "lo of [[band]] recentre_pts is nan"),
    ],
)  # fmt: skip
def test_what_academy_toml_gets_wrong_is_one_sentence(bands, limits, sentence):
    with pytest.raises(UnderfootError, match=re.escape(sentence)) as caught:
        own(bands, limits)
    assert str(caught.value).startswith("academy.toml: ")
    assert "\n" not in str(caught.value)


NEW = {
    "code": "slow_back", "name": "Slow going back", "phase": "top", "looks_like": "The club takes its time.",
    "metrics": ["backswing_s"], "when": "above", "limit": 1.2, "clear": 0.3, "club_families": ["iron"],
    "in_words": "Backswing longer than {limit} s",
}  # fmt: skip


def test_a_new_fault_is_judged_by_its_own_table_where_its_phase_has_its_place():
    rules = own(limits=[NEW])
    codes = [fault.code for fault in rules.faults]
    assert codes.index("reverse_load") < codes.index("slow_back") < codes.index("trail_push")
    limits = {(x.club_family, x.style): (x.limits, x.clear) for x in rules.limits if x.fault == "slow_back"}
    assert limits == dict.fromkeys(
        [("iron", style) for style in ("stays_forward", "mixed", "falls_back", "none")], ((1.2,), 0.3)
    )
    assert rules.version != RULES.version


def test_a_later_table_of_a_new_fault_changes_its_limit():
    rules = own(limits=[NEW, {"code": "slow_back", "limit": 1.3, "club_family": "driver"}])
    found = {x.club_family: x.limits for x in rules.limits if x.fault == "slow_back"}
    assert found == {"iron": (1.2,), "driver": (1.3,)}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"looks_like": None, "clear": None}, "not a whole new one: it lacks clear, looks_like; a whole one has code ="),
        ({"colour": "red"}, "colour is no key of it"),
        ({"code": "Slow Back"}, "code = 'Slow Back' must be small letters, digits and underscores"),
        ({"code": "backswing_s"}, "code = 'backswing_s' is taken already"),
        ({"name": " "}, "name = ' ' must be words"),
        ({"phase": "middle"}, "phase = 'middle' is not one of address, start, back"),
        ({"metrics": ["shoe_size"]}, "metrics = 'shoe_size' is not one of address_lead_share_pct"),
        ({"metrics": []}, 'when = "above" takes 1 metric(s), not 0'),
        ({"when": "over"}, "when = 'over' is not one of below, above"),
        ({"when": "outside"}, 'when = "outside" takes 2 limit(s), not 1'),
        ({"when": "both_above", "limit": [1, 2]}, 'when = "both_above" takes 2 metric(s), not 1'),
        ({"limit": "four"}, "limit = 'four' must be a number"),
        ({"clear": 0}, "clear = 0 must be a number over 0"),
        ({"club_families": ["spoon"]}, "club_families = 'spoon' is not one of putter, wedge"),
        ({"style": "sideways"}, "style = 'sideways' is not one of stays_forward"),
        ({"in_words": "Over {most}"}, "in_words may hold {limit}, {lo}, {hi}, {first} and {second}"),
        ({"limit": 0.8}, "limit 0.8 of fault slow_back lies inside the band 0.7–1 of backswing_s"),
    ],
)  # fmt: skip
def test_what_a_new_fault_lacks_is_one_sentence_with_an_example(changes, sentence):
    table = {key: value for key, value in (NEW | changes).items() if value is not None}
    with pytest.raises(UnderfootError, match=re.escape(sentence)) as caught:
        own(limits=[table])
    assert str(caught.value).startswith("academy.toml: ")
    assert "\n" not in str(caught.value)
