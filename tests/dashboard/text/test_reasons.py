"""Every reason a file or line can be refused for has a phrase of its own on the pages."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.text import reasons

ROOT = Path(__file__).parents[3]
SOURCES = [
    *sorted((ROOT / "ingest").rglob("*.py")),
    *sorted((ROOT / "warehouse" / "contracts").rglob("*.py")),
]
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in SOURCES}
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)
PROBLEM = re.compile(r"Problem\b|tuple\[str, str, ")  # reason, what, …


def takers(tree: ast.AST) -> Iterator[tuple[str, int | None]]:
    """Functions and classes by name, with the place of a reason among what they take; None: they take none."""
    for node in ast.walk(tree):
        if isinstance(node, FUNCTION):
            names = [arg.arg for arg in node.args.args if arg.arg != "self"]
        elif isinstance(node, ast.ClassDef):
            names = [part.target.id for part in node.body if isinstance(part, ast.AnnAssign)]
        else:
            continue
        yield node.name, names.index("reason") if "reason" in names else None


def written(node: ast.AST) -> Iterator[str]:
    """The codes an expression can come to; none where it is a name."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from written(node.body)
        yield from written(node.orelse)
    elif isinstance(node, ast.Tuple):  # reason, what, …
        yield from written(node.elts[0])
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
        yield from (value.value for value in node.func.value.values)  # a table of codes, and what else
        yield from written(node.args[1])


def raised() -> dict[str, str]:
    """Every code in the source of ingest and its contracts, with one place where it stands."""
    # Two files may have functions of one name: it is looked up in the call's own file first.
    everywhere = {name: place for tree in TREES.values() for name, place in takers(tree) if place is not None}
    found: dict[str, str] = {}
    for path, tree in TREES.items():
        known = everywhere | dict(takers(tree))
        for node in ast.walk(tree):
            for code in _of(node, known):
                found[code] = f"{path.relative_to(ROOT)}:{node.lineno}"
    return found


def _of(node: ast.AST, known: dict[str, int]) -> Iterator[str]:
    if isinstance(node, ast.Call):
        name = getattr(node.func, "id", None) or getattr(node.func, "attr", None)
        place = known.get(name)
        if place is not None and len(node.args) > place:
            yield from written(node.args[place])
        yield from (code for word in node.keywords if word.arg == "reason" for code in written(word.value))
    elif isinstance(node, ast.Assign):
        for target in node.targets:
            first = target.elts[0] if isinstance(target, ast.Tuple) else target
            if getattr(first, "id", "") == "reason":
                yield from written(node.value)
    elif isinstance(node, FUNCTION) and node.returns and PROBLEM.match(ast.unparse(node.returns)):
        for part in ast.walk(node):  # a problem is found here and refused elsewhere
            if isinstance(part, ast.Return | ast.Yield) and part.value is not None:
                yield from written(part.value)


CODES = raised()


def test_the_codes_are_found_however_the_source_gives_them():
    ways = {
        "no_tape": "as an argument",
        "column_twice": "to a function of that name that one file has for itself",
        "event_outside": "to a function that others call too",
        "shot_twice": "in what a function returns",
        "clock_runs_back": "one of two",
        "bad_name": "in a table",
        "binary_file": "with a place",
    }
    assert ways.keys() <= CODES.keys()
    assert all(re.fullmatch(r"[a-z0-9]+(_[a-z0-9]+)*", code) for code in CODES)
    assert len(CODES) > 60


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_reason_that_reading_can_give_has_a_phrase(code):
    assert code in reasons.REFUSALS or code in reasons.FLAGS, f"{code} of {CODES[code]} has no phrase"


def test_no_phrase_is_the_code_again_or_a_sentence_of_its_own():
    for code, phrase in reasons.REFUSALS.items():
        assert phrase != code.replace("_", " ")
        assert phrase[0].islower()
        assert not phrase.endswith(".")


def test_a_missing_consent_may_be_one_to_film():
    assert reasons.reason("no_consent") == "no consent covers the day"
