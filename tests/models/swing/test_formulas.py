"""A metric is its table in metrics.toml alone: formulas in, the kernel's metric section out."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from models.swing.formula_words import OPERATIONS
from models.swing.formulas import plate_codes, section_text, write_section
from warehouse.definitions import Metric, metric_codes, read_metrics
from warehouse.errors import UnderfootError

ROOT = Path(__file__).parents[3]


def metric(formula, code="new_metric"):
    return Metric(code, "New", "So.", formula, "%", 0, "none", "back", "design", "1", 1.0)


def body(text, function):
    """Statements of one function of a metric section."""
    return re.search(rf"def {function}\(.*?\n((?:    .*\n)+)", text)[1]


@pytest.mark.parametrize(
    ("formula", "sentence"),
    [
        ("at(lead_share, tip)", "tip is unknown; use "),
        ("average(lead_share, top)", "average is unknown; use "),
        ("at(lead_share)", "at takes 2 argument(s), as in at(lead_share, top), and here has 1"),
        ("least(lead_share, 3, top)", "least needs the event a window starts at in place of 3, as in least("),
        ("least(lead_share, top, lead_share)", "least needs the event a window ends at in place of lead_share"),
        ("peak(lead_share, top, takeaway, top)", "peak needs a length in seconds over 0 in place of top"),
        ("peak(lead_share, 0, takeaway, top)", "peak needs a length in seconds over 0 in place of 0"),
        ("at(at(lead_share, top), top)", "at needs a signal in place of at(lead_share, top)"),
        ("lead_share", "lead_share is no number; ask something of it, as in at(lead_share, top)"),
        ("top - lead_share", "top is no number"),
        ("new_metric + 1", "it comes back to itself by way of new_metric"),
        ("at(lead_share, top) +", "is no expression"),
        ("at(lead_share, top) ** 2", "is not one of the forms a formula may have"),
        ("__import__('os').name", "__import__ is unknown"),
        ("at(lead_share, top).real", "is not one of the forms a formula may have"),
        ("[1][0]", "is not one of the forms a formula may have"),
        ("at(lead_heel_rise, top) + at(lead_share, top)", "lead_heel_rise is seen on the clip, so nothing of the"),
        ("steepest(lead_heel_rise, 0.1, top, impact)", "steepest needs a signal in place of lead_heel_rise"),
    ],
)  # fmt: skip
def test_a_formula_that_is_not_right_is_one_sentence_that_names_its_metric(formula, sentence):
    with pytest.raises(UnderfootError, match=re.escape(sentence)) as caught:
        write_section([metric(formula)])
    assert str(caught.value).startswith("metrics.toml: the formula of new_metric is not right: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("name", "operation"), OPERATIONS.items())
def test_the_example_of_every_operation_is_a_formula(name, operation):
    example = re.sub(r"\b[ab]\b", "at(lead_share, top)", operation[1])
    if name.startswith("time_"):
        example = f"impact - {example}"
    if name == "before":
        example = f"least(lead_share, {example}, takeaway)"
    if name == "after":
        example = f"least(lead_share, takeaway, {example})"
    assert "row[0] = " in write_section([metric(example)])


def test_what_several_formulas_ask_for_is_computed_once():
    text = section_text()
    asked = sum("at(lead_share, top)" in m.formula for m in read_metrics())
    assert asked > 1
    sampled = body(text, "sampled_metrics")
    assert len(re.findall(r"ops\.around\((\w+), n, (\w+), (\w+)\)", sampled)) == len(
        set(re.findall(r"ops\.around\((\w+), n, (\w+), (\w+)\)", sampled))
    )


def test_every_metric_is_filled_once_in_the_function_that_has_what_it_needs():
    text = section_text()
    timed, sampled, clip = (body(text, f) for f in ("timed_metrics", "sampled_metrics", "clip_metrics"))
    filled = {
        name: [metric_codes()[int(k)] for k in re.findall(r"^    row\[(\d+)\] = ", part, re.MULTILINE)]
        for name, part in (("timed", timed), ("sampled", sampled), ("clip", clip))
    }
    assert set(filled["timed"]) == {"stance_width_mm", "backswing_s", "downswing_s"}
    assert sorted(filled["clip"]) == sorted({*metric_codes()} - {*plate_codes()})
    assert sorted(filled["timed"] + filled["sampled"]) == sorted(plate_codes())


def test_a_metric_may_name_a_later_one():
    text = write_section([metric("later * 2", "first"), metric("at(lead_share, top)", "later")])
    sampled = body(text, "sampled_metrics")
    assert sampled.index("row[1] = ") < sampled.index("row[0] = ")


NEW_METRIC = """
[[metric]]
code = "back_share_range_pct"
label = "Range of the lead share going back"
explain = "How far the load moves between the feet in the backswing."
formula = "reach(lead_share, takeaway, top)"
unit = "points"
decimals = 1
better = "none"
phase = "back"
source = "design"
example = "50 to 30: 20"
usual_spread = 3.0
"""


@pytest.mark.slow
def test_a_new_metric_is_one_table(tmp_path):
    """With its table alone it has a column in the warehouse, and the kernel fills it: 50 down to 30 is 20."""
    for folder in ("warehouse", "models"):
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
    with (tmp_path / "warehouse" / "rules" / "metrics.toml").open("a", encoding="utf-8") as file:
        file.write(NEW_METRIC)
    script = """
import importlib.util, sys
import duckdb
from warehouse.store import make_tables
from models.swing.reduce import reduce_session
spec = importlib.util.spec_from_file_location("build", sys.argv[1])
build = sys.modules["build"] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(build)
plan = build.quiet_plan(share=build.Lines([(1.4, 50), (1.9, 30)]))
rows = reduce_session(build.trace_of([plan.columns(500.0)], [500.0]), build.swing_rows(1),
                      build.event_rows([build.TIMES])).metrics
connection = duckdb.connect()
make_tables(connection)
connection.register("rows", rows.to_arrow())
connection.execute("INSERT INTO academy.swing_metric BY NAME SELECT * FROM rows")
print(connection.execute("SELECT back_share_range_pct FROM academy.swing_metric").fetchone()[0])
"""
    done = subprocess.run(
        [sys.executable, "-c", script, str(Path(__file__).with_name("swing_builders.py"))],
        env=os.environ | {"PYTHONPATH": str(tmp_path), "NUMBA_DISABLE_JIT": "1"},  # compiling takes half a minute
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) == pytest.approx(20, abs=0.1)
