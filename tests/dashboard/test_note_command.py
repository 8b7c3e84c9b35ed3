"""A note from the command line is the form's: same lines, same rules, nothing kept where one is broken."""

import json

import pytest
from click.testing import CliRunner

import underfoot
from command import underfoot_command
from dashboard.pages.notes import command
from dashboard.queries import people
from dashboard.readers import reader
from warehouse.errors import AccessError, CallError

QUIET = {
    "saw": None, "grade": 2, "plan": None, "drill": None, "dose": None, "unit": "reps", "pace": None,
    "place": "lesson", "shared": True, "hurts": None, "side": None, "words": None, "over": None, "goal": None,
}  # fmt: skip


def kept(home):
    return [
        json.loads(line)
        for file in sorted(home.inbox.glob("dropped-*/notes.jsonl"))
        for line in file.read_text("utf-8").splitlines()
    ]


@pytest.fixture
def home(homes, request):
    found = homes(request.node.name)
    found.make_folders()
    return found


def write(home, student="s02", person=None, **given):
    return command.write(home, student, person, **(QUIET | given))


def test_a_note_is_what_the_form_would_have_kept(home):
    fault = next(iter(people.faults(reader(home, "h01"))))
    assert (
        write(home, saw=fault, grade=0, plan="Slow first.", drill="d01", dose=12.0)
        == "Saved: saw, set a drill and plan."
    )
    lines = {line["kind"]: line for line in kept(home)}
    assert (lines["saw"]["code"], lines["saw"]["grade"], lines["saw"]["author"]) == (fault, 0, "h01")
    assert (lines["drill"]["code"], lines["drill"]["value"], lines["drill"]["unit"]) == ("d01", 12.0, "reps")
    assert (lines["plan"]["text"], lines["plan"]["shared"]) == ("Slow first.", True)


@pytest.mark.parametrize(
    ("given", "error"),
    [
        ({}, CallError), ({"saw": "nothing_like_it"}, CallError), ({"drill": "d99"}, CallError),
        ({"hurts": "soul"}, CallError), ({"words": "It aches."}, CallError),
        ({"plan": "x", "person": "c01"}, AccessError), ({"plan": "x", "student": "s99"}, AccessError),
        ({"plan": "x", "person": "s02"}, AccessError),
    ],
)  # fmt: skip
def test_what_the_form_refuses_is_refused_and_nothing_is_kept(home, given, error):
    with pytest.raises(error):
        write(home, **given)
    assert kept(home) == []


def test_a_coach_writes_under_their_own_name(home):
    write(home, "s02", "c02", plan="Keep it light.")
    [line] = kept(home)
    assert line["author"] == "c02"


def test_the_command_writes_and_loads(home, monkeypatch):
    loaded = []
    monkeypatch.setattr(
        underfoot, "_loader", lambda home: type("L", (), {"load": lambda _: loaded.append(home)})()
    )
    monkeypatch.setattr(underfoot.terminal, "show_report", lambda report, brief: None)
    ran = underfoot_command("note", "s02", "--plan", "Slow first.", "--home", home.path)
    assert (ran.returncode, ran.stdout.strip(), len(loaded)) == (0, "Saved: plan.", 1)
    ran = underfoot_command("note", "s02", "--saw", "x", "--home", home.path)
    assert (ran.returncode, "is not known" in ran.stderr) == (2, True)


def test_its_help_names_every_option():
    said = CliRunner().invoke(underfoot.cli, ["note", "--help"]).output
    assert all(f"--{name}" in said for name in ("saw", "plan", "drill", "hurts", "goal", "as"))
