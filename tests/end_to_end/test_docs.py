"""Docs are tests: what a user or contributor can name is in them, and what they name exists."""

import re
from pathlib import Path

import pytest

import points
import reference
import underfoot
from dashboard.app import PAGES
from dashboard.text.labels import FLAGS
from warehouse.definitions import read_metrics, usual_faults
from warehouse.founding import starter_drills
from warehouse.observations import feelings, signs
from warehouse.tables import table_names, table_sql
from warehouse.vocabulary import EVENTS, NOTE_KINDS, PURPOSES

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DELIVERIES = (ROOT / "ingest" / "DELIVERIES.md").read_text(encoding="utf-8")
REFERENCE = reference.FILE.read_text(encoding="utf-8")
DOCS = README + DEVELOPERS


def test_the_reference_is_what_the_code_says():
    assert reference.text() == REFERENCE, "make docs writes it again"


def test_contributors_notes_are_short():
    assert len(DEVELOPERS.encode()) <= 8_000


@pytest.mark.parametrize("verb", sorted(underfoot.cli.commands))
def test_every_verb_is_documented(verb):
    assert f"underfoot {verb}" in README


@pytest.mark.parametrize("table", table_names())
def test_every_table_is_documented(table):
    assert f"| `{table}` | One row per " in REFERENCE


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.path)
def test_every_page_is_documented(page):
    assert re.search(rf"^\| {page.name} \| `{page.path}` \|", REFERENCE, re.MULTILINE)


def test_every_kind_of_note_event_and_purpose_of_a_consent_is_documented():
    kinds = re.findall(r"`(\w+)`", "".join(re.findall(r"^\| (`[^|]*)\|", DELIVERIES, re.MULTILINE)))
    assert sorted(kinds) == sorted(NOTE_KINDS)
    assert re.findall(r"^(\w+) = \d\.", DELIVERIES, re.MULTILINE) == list(EVENTS)
    assert [purpose for purpose in PURPOSES if f"| `{purpose}` | " not in README] == []


def test_every_flag_counts_something_and_has_words():
    assert set(reference.FLAG_COUNTS) == set(FLAGS) - {"no_metric"}


def test_every_metric_column_has_a_label_and_every_label_a_column():
    columns = re.findall(r"^    (\w+) DOUBLE", table_sql("academy.swing_metric"), re.MULTILINE)
    assert [metric.code for metric in read_metrics() if metric.label] == columns


def test_every_fault_of_the_rules_is_documented():
    assert [fault.code for fault in usual_faults() if f"`{fault.code}`" not in REFERENCE] == []


def test_every_point_names_a_test_that_exists_and_every_rule_is_a_point():
    assert points.missing() == []
    listed = " ".join(point for point, _ in points.held())
    codes = [rule.code for rule in (*read_metrics(), *usual_faults(), *signs(), *feelings())]
    assert [code for code in codes if f"`{code}`" not in listed] == []
    assert [drill.aim for drill in starter_drills() if f"`{drill.aim}`" not in listed] == []


def test_the_readme_opens_with_the_job_and_has_its_two_commands_first():
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert [block.strip() for block in blocks[:2]] == ["make demo", "make test"]
    title, job = README.split("\n\n")[:2]
    assert title.startswith("# ")
    assert len(job) > 200
    assert not job.startswith(("#", "```", "!"))


def test_every_picture_and_file_the_docs_name_exists():
    short = "".join(p.read_text(encoding="utf-8") for p in ROOT.glob("*/decisions/*.md"))
    named = re.findall(r"\]\((?!http)([^)#]+)\)", DOCS) + re.findall(r'src="([^"]+)"', DOCS)
    named += re.findall(r"`([a-z_]+(?:/\w+)*/\w+\.(?:py|toml|md|sql))`", DOCS + short)
    assert len(named) >= 15
    assert [name for name in named if not (ROOT / name).exists()] == []
    further = re.findall(r"\]\(([^)#]+)", DELIVERIES)
    assert [name for name in further if not (ROOT / "ingest" / name).exists()] == []


def test_no_text_of_the_project_names_a_package_host():
    hosts = tuple(
        "".join(parts)
        for parts in (("pypi", ".org"), ("python", "hosted"), ("npm", "js"), ("deb.", "debian"))
    )
    texts = [
        p
        for p in ROOT.rglob("*")
        if p.suffix in {".py", ".md", ".toml", ".txt", ".sql"} and ".venv" not in p.parts
    ]
    assert [p.name for p in texts if any(h in p.read_text(encoding="utf-8") for h in hosts)] == []


def test_the_service_may_write_to_its_own_home_alone():
    """systemd starts no service with a path to write to that is not there, as .cache isn't after an installation."""
    unit = (ROOT / ".ci" / "deploy" / "underfoot.service").read_text("utf-8")
    written = re.findall(r"^ReadWritePaths=(.*)$", unit, re.MULTILINE)
    assert written == re.findall(r"--home (/\S+) underfoot\)", unit)
