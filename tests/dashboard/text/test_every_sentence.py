"""Every sentence of the dashboard is in the catalogue: none is written into the code past it."""

import ast
import re
from pathlib import Path

import pytest

from dashboard.text import extract, numbers

DASHBOARD = Path(extract.__file__).parents[1]
FILES = sorted(DASHBOARD.rglob("*.py"))
MARKS = {"_", "ngettext", "mark", "mark_plural", "Words"}
TWO_WORDS = re.compile(r"[A-Za-z]{2,}[,;:.’']? +[A-Za-z]{2,}")
SQL = re.compile(r"\s*(SELECT|WITH|\(SELECT)\b")
# What has two words and yet is no sentence of a page: `file: what, …`.
ALLOWED = {
    "charts/heel_lanes.py": {"% of body weight"},  # a unit, looked up where it is said
    "charts/shoe.py": {"<", '" r="', '" fill="', '" height="'},
    "charts/spark.py": {"<", '"/>'},
    "charts/swing_line.py": {"<", '">', '" ', '"/>', "/>"},
    "elements.py": {"<img"},
    "document.py": {'<svg role="img" aria-label="{}" '},
    "navigation.py": {"showed the page %s to a %s"},  # the journal
    "inbox.py": {"too large"},
    "layout.py": {"D MMM YYYY"},
    "pages/deliveries/content.py": {"underfoot refused"},  # what to type
    # What the access log calls a page.
    "pages/lesson/screen.py": {"Lesson sheet"},
    "pages/notes/command.py": {  # help of the command
        "0: not there",
        "A drill that",
        "A fault, or",
        "At which",
        "How many",
        "The plan",
        "The student sees",
        "What the",
        "Where it",
        "Which side",
        "Who writes",
    },
    "pages/progress/screen.py": {"Progress page"},
    "pages/session/questions.py": {"position unit", "<svg"},  # what the explainer calls it
    "pages/session/screen.py": {"New session"},
    "serving.py": {"import sys; from underfoot"},  # code
    "pages/words/about.py": {"underfoot sql"},  # what to type
    "prompts.py": {"A file of at least"},  # help of the command
    "queries/people.py": {") ORDER BY"},
    "queries/season.py": {"[m.n - 1], 1.645) * m.sd"},
    "server.py": {"'self'", "camera=(), "},  # headers
    "terminal.py": {
        "person WHERE role = 'student'",
        "swing WHERE usable",
        "swing_fault WHERE flagged",
        "is left out now",
        "underfoot load --explain ",  # what to type
        "The academy home; else",  # help of the command, which is English
    },
    "text/catalogue.py": {
        'academy.toml: language = "',
        '" has no catalogue',
    },  # no catalogue to look it up in
    "theme.py": {"'Source Sans'"},
}


def calls(tree, names):
    return [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in names
    ]


def is_option(call):
    """click.option(…)"""
    return isinstance(call.func, ast.Attribute) and ast.unparse(call.func) == "click.option"


def sentences(tree):
    """Strings of two words and more outside the catalogue's functions; docstrings and SQL are none."""
    known = {id(part) for call in calls(tree, MARKS) for part in ast.walk(call)}
    known |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    # The help of the command is English.
    options = [call for call in ast.walk(tree) if isinstance(call, ast.Call) and is_option(call)]
    known |= {id(part) for call in options for part in ast.walk(call)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in known:
            text = node.value
            if TWO_WORDS.search(text) and not SQL.match(text) and "\n" not in text.strip():
                yield text


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(DASHBOARD)))
def test_no_sentence_passes_the_catalogue_by(file):
    allowed = ALLOWED.get(str(file.relative_to(DASHBOARD)), set())
    tree = ast.parse(file.read_text(encoding="utf-8"))
    assert [text for text in sentences(tree) if not any(text.startswith(part) for part in allowed)] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(DASHBOARD)))
def test_no_heading_or_choice_passes_it_by_either(file):
    """What a page or a picture calls something is a word alone at times: st.header("Films")."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    shown = [
        call.args[0]
        for call in ast.walk(tree)
        if isinstance(call, ast.Call)
        and call.args
        and isinstance(call.func, ast.Attribute)
        and (getattr(call.func.value, "id", "") in {"st", "layout", "sidebar"} or call.func.attr == "alias")
        and call.func.attr not in {"student", "once", "Page"}
    ]
    shown += [
        key.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        for key in node.keywords
        if key.arg == "title"
    ]
    words = [part.value for part in shown if isinstance(part, ast.Constant) and isinstance(part.value, str)]
    assert [word for word in words if re.match("[A-Z][a-z]", word) and word != "Underfoot"] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(DASHBOARD)))
def test_a_message_has_named_places_for_its_values_and_is_no_f_string(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for call in calls(tree, MARKS - {"Words"}):
        for part in call.args:
            assert not isinstance(part, ast.JoinedStr), ast.unparse(part)
            if isinstance(part, ast.Constant) and isinstance(part.value, str):
                assert "{}" not in part.value, part.value


def test_all_that_is_counted_has_its_plural():
    for file in FILES:
        for call in calls(ast.parse(file.read_text(encoding="utf-8")), {"count"}):
            if len(call.args) == 2 and isinstance(call.args[1], ast.Constant):
                assert call.args[1].value in numbers.THINGS, f"{file.name}: {ast.unparse(call)}"
