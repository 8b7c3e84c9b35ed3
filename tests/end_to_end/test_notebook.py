"""The notebook that follows one student's season from the samples to the line, without Underfoot's own code."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import demo_academy

NOTEBOOK = Path(demo_academy.__path__[0]) / "season_line.ipynb"


def cells():
    notebook = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    return ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]


def test_it_knows_general_libraries_only():
    imported = {
        name for cell in cells() for name in re.findall(r"^(?:import|from) (\w+)", cell, re.MULTILINE)
    }
    assert imported == {"os", "pathlib", "duckdb", "numpy", "polars", "statsmodels"}


def test_it_comes_to_the_pages_swings_visits_and_line(demo):
    """In a process of its own: the test's one holds the snapshot under a reader's settings."""
    told = "print([len(by_swing), swing_gap.max(), visit_gap.max(), len(line), len(outside)])"
    ran = subprocess.run(
        [sys.executable, "-W", "error", "-c", "\n".join([*cells(), told])],
        env=os.environ | {"UNDERFOOT_HOME": str(demo.home.path)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    swings, swing_gap, visit_gap, points, outside = json.loads(ran.stdout.splitlines()[-1])
    assert swings >= 30
    assert swing_gap < 0.5  # points; the pages' traces are smoothed
    assert visit_gap < 0.2
    assert (points, outside) == (13, 0)
