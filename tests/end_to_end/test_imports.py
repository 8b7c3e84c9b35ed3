"""Imports point one way; the command is the only one above the wings, which the import linter cannot see."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WINGS = ("ingest", "models", "dashboard", "demo_academy")


def imported(path: Path) -> set[str]:
    """First names of everything a module imports, function bodies included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


def modules(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


@pytest.mark.parametrize("folder", [*WINGS, "warehouse"])
def test_no_folder_imports_the_command(folder):
    assert [path for path in modules(folder) if "underfoot" in imported(path)] == []


@pytest.mark.parametrize("folder", [*WINGS, "warehouse"])
def test_no_folder_imports_a_sibling(folder):
    others = {*WINGS} - {folder}
    assert [(path.name, imported(path) & others) for path in modules(folder) if imported(path) & others] == []


def test_the_command_imports_nothing_of_ours_but_the_five_folders():
    ours = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}
    assert imported(ROOT / "underfoot.py") & ours <= {*WINGS, "warehouse"}
    assert ours == {*WINGS, "warehouse"}


def test_only_the_store_opens_duckdb():
    opens = [
        path.relative_to(ROOT).as_posix()
        for folder in (*WINGS, "warehouse")
        for path in modules(folder)
        if "duckdb.connect" in path.read_text(encoding="utf-8")
    ]
    assert opens == ["warehouse/store.py"]


def test_modules_stay_short_and_have_no_asserts():
    long, asserts = [], []
    for path in [ROOT / "underfoot.py", *(p for f in (*WINGS, "warehouse") for p in modules(f))]:
        text = path.read_text(encoding="utf-8")
        if len(text.splitlines()) > 320:
            long.append(path.name)
        if any(isinstance(node, ast.Assert) for node in ast.walk(ast.parse(text))):
            asserts.append(path.name)
    assert long == []
    assert asserts == []
