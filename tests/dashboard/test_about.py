"""A measure or a fault in full: its formula or rule, source and worth, for each there is, and its rows."""

import shlex
from contextlib import closing

import pytest

from dashboard.pages.words import about
from models.swing import faults
from warehouse.access import open_reader
from warehouse.definitions import read_metrics, usual_faults
from warehouse.store import open_snapshot, writer


@pytest.fixture
def defined(filled):
    """A head coach's reader of the usual measures and faults."""
    rules = faults.load_rules()
    with writer(filled) as w:
        w.append("academy.metric", faults.metric_rows(rules))
        w.append("academy.fault", faults.fault_rows(rules))
        w.publish()
    return open_reader(filled, "h1")


def test_every_measure_and_fault_says_how_it_is_worked_out_and_on_whose_word(defined):
    assert set(about.choices(defined)) >= {
        *(m.code for m in read_metrics()),
        *(f.code for f in usual_faults()),
    }
    for code in about.choices(defined):
        said = about.facts(defined, code)
        assert "Source" in said
        assert "Formula" in said or "Rule" in said
        assert not any("{" in sentence or ".." in sentence for sentence in said.values()), (code, said)


def test_a_measure_has_its_formula_example_source_targets_and_what_a_session_is_worth(visit, page_text):
    text = page_text(visit("full", "words", "c01", measure="impact_trail_heel_pct_bw")).replace("\\", "")
    assert "impact_trail_heel_pct_bw = of_weight(at(trail_heel, impact))" in text
    assert "14 N at W = 700 N: 2 % of body weight" in text
    assert "**Source:** Common practice, no published source." in text
    assert "Heel loads of a device that does not measure them are estimated" in text


def test_a_fault_has_its_rule_with_the_limit_filled_in_and_the_unit_of_its_margin(defined):
    said = about.facts(defined, "trail_heel_sink")
    assert said["Rule"].endswith("by over 15 % of foot length, or to under 25 %.")
    assert "15\u00a0% of foot length beyond it counts as full severity" in said["Severity"]


def test_the_command_that_a_page_names_gives_the_rows(filled):
    with closing(open_snapshot(filled)) as snapshot:
        for code, columns in (
            ("impact_trail_heel_pct_bw", ["session", "swing_no", "impact_trail_heel_pct_bw"]),
            ("trail_heel_sink", ["session", "swing_no", "flagged", "severity"]),
        ):
            *command, asked = shlex.split(about.query(code))
            assert command == ["underfoot", "sql", "--format", "csv"]
            assert snapshot.sql(asked).columns == columns
