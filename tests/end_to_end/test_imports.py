"""The rules of the house that a reader of the tree relies on: imports, layers, sizes, one place for each rule."""

import ast
import re
import subprocess
import sys
from collections import Counter
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from dashboard.app import PAGES
from models.plan import PLAN

ROOT = Path(__file__).parents[2]
WINGS = ("ingest", "models", "dashboard", "demo_academy")
FOLDERS = ("warehouse", *WINGS)
LAYERS = {"warehouse": 9, "ingest": 8}  # the longest chain of imports; only ever lowered
ONLY_ONCE = ("events", "signals")
# Polars calls these functions' Python from its own threads, or is waited for with the interpreter's lock held.
# With two viewers at once each side may wait for the other: the server freezes.
FREEZING = {"map_elements", "map_batches", "map_rows", "map_groups", "apply", "to_pandas", "data_editor"}


def modules(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imported_modules(path: Path) -> frozenset[str]:
    """Everything a module imports by its full name, function bodies included: `from a import b` gives a and a.b."""
    found = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return frozenset(found)


def imported(path: Path) -> set[str]:
    """First names of everything a module imports."""
    return {name.split(".")[0] for name in imported_modules(path)}


def places(text: str, *folders: str) -> list[str]:
    """Modules whose source holds a text."""
    every = [path for folder in folders or FOLDERS for path in modules(folder)]
    return [p.relative_to(ROOT).as_posix() for p in every if text in p.read_text(encoding="utf-8")]


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_folder_imports_the_command(folder):
    assert [path for path in modules(folder) if "underfoot" in imported(path)] == []


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_folder_imports_a_sibling(folder):
    others = {*WINGS} - {folder}
    assert [(path.name, imported(path) & others) for path in modules(folder) if imported(path) & others] == []


def test_the_command_imports_nothing_of_ours_but_the_five_folders():
    ours = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}
    assert imported(ROOT / "underfoot.py") & ours <= {*WINGS, "warehouse"}
    assert ours == {*WINGS, "warehouse"}


@pytest.mark.parametrize("folder", LAYERS)
def test_a_folder_has_few_layers(folder):
    """A module's layer is one above the highest that it imports in its own folder; there is no cycle."""
    graph = {}
    files = {p.relative_to(ROOT).with_suffix("").as_posix().replace("/", "."): p for p in modules(folder)}
    for name, path in files.items():
        graph[name] = {other for other in imported_modules(path) & files.keys() if other != name}

    def layer(name, above=()):
        assert name not in above, f"cycle: {' → '.join((*above, name))}"
        return heights.get(name) or heights.setdefault(
            name, 1 + max((layer(other, (*above, name)) for other in graph[name]), default=0)
        )

    heights: dict[str, int] = {}
    assert max(map(layer, graph)) <= LAYERS[folder]


def room(path: Path) -> str:
    """A wing, or a folder of a wing that has modules of its own."""
    inside = path.relative_to(ROOT).parts
    return inside[0] if len(inside) == 2 else "/".join(inside[:2])


def arrows(heading: str) -> set[tuple[str, str]]:
    """The arrows of the picture under a heading of DEVELOPERS.md; `a & b --> c` is two."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    picture = text.split(f"**{heading}**")[1].split("```mermaid")[1].split("```")[0]
    chains = [line.split(" --> ") for line in picture.splitlines()]
    return {
        (a.strip(), b.strip())
        for chain in chains
        for left, right in pairwise(chain)
        for a in left.split("&")
        for b in right.split("&")
    }


def test_the_picture_of_the_rooms_shows_their_imports_and_no_others():
    named = {p.relative_to(ROOT).with_suffix("").as_posix(): p for f in FOLDERS for p in modules(f)}
    files = {name.removesuffix("/__init__").replace("/", "."): path for name, path in named.items()}
    found = {("underfoot.py", wing) for wing in imported(ROOT / "underfoot.py") & {*FOLDERS}}
    for path in files.values():
        for other in imported_modules(path) & files.keys():
            here, there = room(path), room(files[other])
            wings = {here.split("/")[0], there.split("/")[0]}
            if len(wings) == 2:
                found.add((here.split("/")[0], there.split("/")[0]))
            elif here != there and not wings & {here, there}:
                found.add((here, there))
    assert arrows("Rooms and their imports.") == found


def test_the_picture_of_the_data_goes_from_table_to_table_as_the_plan_does():
    """Nothing comes before what it is made from; a table is made from all that the picture has it made from."""
    tables = re.compile(r"(academy|season)\.\w+")
    drawn = {pair for pair in arrows("The way of the data") if all(map(tables.fullmatch, pair))}
    planned = {(need, table) for step in PLAN for table in step.tables for need in step.needs}
    assert len(drawn) >= 15
    assert drawn - planned == set()


def test_a_pages_content_knows_no_streamlit():
    """Nor does anything of the dashboard's that it imports; the pages' folders are out of import-linter's reach."""
    files = {
        p.relative_to(ROOT).with_suffix("").as_posix().replace("/", "."): p for p in modules("dashboard")
    }

    def reach(name, seen):
        if name not in seen:
            seen.add(name)
            for other in imported_modules(files[name]) & files.keys():
                reach(other, seen)
        return seen

    content = [name for name in files if re.fullmatch(r"dashboard\.pages\.\w+\.content", name)]
    assert len(content) >= 11
    found = {name: [m for m in reach(name, set()) if "streamlit" in imported(files[m])] for name in content}
    assert {name: shown for name, shown in found.items() if shown} == {}


def attributes(path: Path) -> set[str]:
    return {node.attr for node in ast.walk(parsed(path)) if isinstance(node, ast.Attribute)}


def test_nothing_in_the_dashboard_can_freeze_its_server():
    assert [
        (p.name, attributes(p) & FREEZING) for p in modules("dashboard") if attributes(p) & FREEZING
    ] == []


def test_streamlit_is_given_arrow_tables():
    shown = [
        ast.unparse(call.args[0])
        for path in modules("dashboard")
        for call in ast.walk(parsed(path))
        if isinstance(call, ast.Call) and ast.unparse(call.func) in {"st.dataframe", "st.table"}
    ]
    assert shown
    assert [table for table in shown if not table.endswith(".to_arrow()")] == []


def test_every_page_is_a_folder_with_a_screen():
    pages = [path for path in (ROOT / "dashboard" / "pages").iterdir() if (path / "content.py").exists()]
    assert [path.name for path in pages if not (path / "screen.py").exists()] == []
    assert {path.name for path in pages} == {page.path for page in PAGES}


def test_these_names_are_given_to_one_module_only():
    names = Counter(path.stem for folder in FOLDERS for path in modules(folder))
    assert [name for name in ONLY_ONCE if names[name] > 1] == []
    assert names["utils"] == names["helpers"] == names["common"] == 0


def test_colours_are_named_in_the_theme_only():
    colour = re.compile(r"#[0-9a-fA-F]{6}\b")
    files = [p for ending in ("py", "html", "js") for p in (ROOT / "dashboard").rglob(f"*.{ending}")]
    assert [p.name for p in files if colour.search(p.read_text(encoding="utf-8"))] == ["theme.py"]


@pytest.mark.parametrize(
    ("rule", "place"),
    [
        ("duckdb.connect", "warehouse/store.py"),
        ("(on.month, on.day) <", "warehouse/vocabulary.py"),
        ("def is_film", "warehouse/vocabulary.py"),
        ("def read_metrics", "warehouse/definitions.py"),
        ("UnitRegistry", "warehouse/units.py"),
        ("spreadsheetml", "warehouse/spreadsheets.py"),
        ("from itsdangerous", "warehouse/links.py"),
        ("jinja2.Environment", "dashboard/document.py"),
    ],
)
def test_a_rule_has_one_place(rule, place):
    assert places(rule) == [place]


def test_modules_stay_short_and_have_no_asserts():
    long, asserts = [], []
    for path in [ROOT / "underfoot.py", *(p for f in FOLDERS for p in modules(f))]:
        text = path.read_text(encoding="utf-8")
        # The command holds every verb with its options.
        if len(text.splitlines()) > (400 if path.name == "underfoot.py" else 320):
            long.append(path.name)
        if any(isinstance(node, ast.Assert) for node in ast.walk(parsed(path))):
            asserts.append(path.name)
    assert long == []
    assert asserts == []


@pytest.mark.parametrize(
    ("started", "heavy"),
    [
        ("underfoot", {"streamlit", "altair", "pandas", "pandera", "scipy", "numba"}),
        ("underfoot, ingest.loader, models.build", {"streamlit", "altair", "cv2", "av", "scipy.stats"}),
    ],
    ids=["any command", "a load"],
)
def test_what_takes_long_to_import_is_imported_only_by_what_needs_it(started, heavy):
    """Each of these takes as long to import as much of what is started, at every start."""
    asked = [sys.executable, "-c", f"import sys, {started}; print(sorted({heavy} & sys.modules.keys()))"]
    ran = subprocess.run(asked, capture_output=True, text=True, check=True, cwd=ROOT)
    assert ran.stdout.strip() == "[]"
