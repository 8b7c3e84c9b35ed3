"""Write warehouse/REFERENCE.md, the lists of what the code can name: make docs. A test holds it up to date."""

import ast
import importlib
import inspect
from collections.abc import Iterable, Iterator
from pathlib import Path

import click
from pandera.polars import Column

import points
import underfoot
from dashboard import theme
from dashboard.app import PAGES
from dashboard.navigation import Page
from dashboard.text.labels import AGES, FLAGS, LABELS
from dashboard.text.reasons import REFUSALS
from planted_swings import CASES
from warehouse.contracts import deliveries
from warehouse.definitions import read_metrics, usual_faults, words_of
from warehouse.observations import feelings, signs
from warehouse.tables import SCHEMA_FOLDER, columns, table_names
from warehouse.vocabulary import NOTE_KINDS

DELIVERED = {
    "people.csv": deliveries.PersonLine,
    "coaching.csv": deliveries.CoachingLine,
    "drills.csv": deliveries.DrillLine,
    "seasons.csv": deliveries.SeasonLine,
    "consents.csv": deliveries.ConsentLine,
    "device_checks.csv": deliveries.DeviceCheckLine,
    "plate.csv": deliveries.PlateSample,
    "events.csv": deliveries.EventLine,
    "clip.csv": deliveries.ClipLine,
    "notes.csv": deliveries.NoteLine,
    "shots.csv": deliveries.ShotLine,
}
# Flags of a swing and what each one's count counts.
FLAG_COUNTS = {
    "dropout": "gaps",
    "negative_load": "such samples, both feet",
    "saturated": "samples at the highest value; of a grid 1",
    "weight_mismatch": "1",
    "short_quiet": "missing samples",
    "low_rate": "the rate, Hz",
    "unmarked": "events not marked",
    "feet_not_found": "1",
    "feet_swapped": "1",
    "clip_not_followed": "1",
    "clip_unsynced": "1",
    "clip_marks_disagree": "1",
    "clip_feet_disagree": "1",
    "clip_strikes_unclear": "1",
    "clip_stamp_unclear": "1",
    "clip_taken_apart": "1",
    "clip_unlike_others": "1",
    "clip_films_shifted": "1",
    "clip_heel_before_load": "1",
    "clip_pace_unknown": "1",
    "clip_heels_low": "1",
    "clip_heights_impossible": "1",
    "clip_pace_impossible": "1",
    "clip_feet_exchanged": "1",
    "sensors_filled": "sensors",
    "shares_only": "1",
    "no_positions": "feet without",
    "practice_swing": "1",
    "uncertain_swing": "1",
    "not_a_swing": "1",
    "no_consent": "1",
}
ROOMS = ("warehouse", "ingest", "models", "dashboard", "demo_academy")
FILE = Path(__file__).parents[1] / "warehouse" / "REFERENCE.md"
OPENING = """\
# Reference

Written from the code by `make docs`; edit the code, not this file. Columns with their meaning are in
`schema/*.sql`, metrics and faults in `rules/*.toml`.
"""


def text() -> str:
    """The whole file."""
    return "\n".join(
        [
            OPENING,
            *_tables(),
            *_delivered_files(),
            *_metrics(),
            *_faults(),
            *_held_rules(),
            *_held_points(),
            *_codes(),
            *_pages(),
            *_commands(),
            *_colours(),
            *_modules(),
        ]
    )


def _tables() -> Iterator[str]:
    grains = [
        (f"`{name}`", (SCHEMA_FOLDER / f"{name}.sql").read_text().split("\n")[0].removeprefix("-- "))
        for name in table_names()
    ]
    yield from _list(
        "Tables",
        "`academy.*` is what came in and what one swing says; `season.*` is made by `models` and never edited. "
        "Times are UTC; days are the academy's own.",
        ("table", "grain"),
        grains,
    )
    named = {name: ", ".join(f"`{column}`" for column in columns(name)) for name in table_names()}
    named["academy.swing_metric"] = "`session`, `swing_no`, …, and one a metric (see below)"
    opening = "In their order; what each is stands beside it in `schema/*.sql`."
    yield from _list("Columns", opening, ("table", "columns"), ((f"`{t}`", c) for t, c in named.items()))


def _delivered_files() -> Iterator[str]:
    rows = []
    for file, contract in DELIVERED.items():
        schema = contract.to_schema()
        for name, column in schema.columns.items():
            needed = "yes" if column.required else "no"
            rows.append(
                (f"`{file}`", f"`{name}`", needed, "yes" if column.nullable else "no", _meaning(column))
            )
    yield from _list(
        "Delivered files",
        "The columns of each; ingest/DELIVERIES.md says how they go together. Other columns are refused.",
        ("file", "column", "required", "may be empty", "unit; meaning"),
        rows,
    )


def _meaning(column: Column) -> str:
    """What a column is, with the values it may have."""
    allowed = [
        check.statistics["allowed_values"] for check in column.checks if "allowed_values" in check.statistics
    ]
    return "; ".join([column.description, *(", ".join(map(str, values)) for values in allowed)])


def _metrics() -> Iterator[str]:
    rows = [
        (f"`{m.code}`", m.label, m.unit, m.better, m.phase, f"`{' '.join(m.formula.split())}`", m.source)
        for m in read_metrics()
    ]
    heads = ("code", "label", "unit", "better", "phase", "formula", "source")
    yield from _list("Metrics", "Null where a metric could not be measured, never zero.", heads, rows)


def _faults() -> Iterator[str]:
    rows = [(f"`{f.code}`", f.name, f.phase, words_of(f.in_words, f.limit)) for f in usual_faults()]
    yield from _list(
        "Faults",
        "Limits are common practice without a published source; an academy sets its own, and adds faults, in academy.toml.",
        ("code", "name", "phase", "flagged by default"),
        rows,
    )


def _held_rules() -> Iterator[str]:
    rows = []
    for fault in usual_faults():
        cases = [case for case, plan in CASES.items() if fault.code in plan.faults]
        twins = dict.fromkeys(CASES[case].twin for case in cases)
        names = [", ".join(f"`{case}`" for case in found) for found in (cases, twins)]
        rows.append((f"`{fault.code}`", *(name or "–" for name in names)))
    opening = (
        "Planted swings (tests/planted_swings.py, made without sight of the rules) in which a fault must be found, "
        "and the clean twins that must stay clean: tests/models/swing/test_planted_rules.py, each case for both hands, "
        "all its clubs, with and without heel loads, in 20 draws. Those without one are held by "
        "tests/models/swing/test_trade_swings.py and test_faults.py. How a value is measured is held by "
        "tests/models/swing/test_metrics_by_hand.py."
    )
    yield from _list("What holds each fault's rule", opening, ("fault", "found in", "clean in"), rows)


def _held_points() -> Iterator[str]:
    rows = [(point, f"`tests/{test}`") for point, test in points.held()]
    opening = "What footwork is judged by, in the order of the swing, with the test that holds each point (tests/points.py)."
    yield from _list("What holds each point", opening, ("point", "test"), rows)


def _codes() -> Iterator[str]:
    yield from _list(
        "Swing flags",
        "What is known against a swing; none by itself leaves it out. `academy.swing.flags` holds them, "
        "`flag_counts` their counts, `file_flags` those that reading the file showed.",
        ("flag", "meaning", "its count"),
        [(f"`{code}`", FLAGS[code], count) for code, count in FLAG_COUNTS.items()],
    )
    words = [(f"`{code}`", word) for code, word in {**LABELS, **AGES}.items()]
    yield from _list(
        "Labels", "Codes of the season tables and what the pages call them.", ("code", "in words"), words
    )
    kinds = [(f"`{kind}`",) for kind in NOTE_KINDS]
    yield from _list("Kinds of note", "`kind` in notes.csv and academy.note.", ("kind",), kinds)
    seen = [(f"`{s.code}`", s.name, s.phase, s.sense, s.looks_like) for s in signs()]
    opening = "What a `saw` note may name besides a fault. Common practice, no published source."
    yield from _list(
        "Signs only the eye can see", opening, ("code", "name", "phase", "sense", "looks like"), seen
    )
    felt = [(f"`{f.code}`", f.question, ", ".join(f"`{fault}`" for fault in f.faults)) for f in feelings()]
    opening = "What a `felt` note may name; it agrees with the plates where none of the faults shows."
    yield from _list("Feelings", opening, ("code", "in words", "faults"), felt)
    reasons = [(f"`{code}`", reason) for code, reason in sorted(REFUSALS.items())]
    yield from _list("Reasons of refusal", "`reason` in academy.refusal.", ("code", "in words"), reasons)


def _pages() -> Iterator[str]:
    rows = [
        (page.name, f"`{page.path}`", ", ".join(page.roles).replace("_", " "), _purpose(page))
        for page in PAGES
    ]
    opening = "Coaches see their own students, students and guardians their own page."
    yield from _list("Pages", opening, ("page", "address", "who has it", "what it shows"), rows)


def _purpose(page: Page) -> str:
    """What a page's content says of itself."""
    line = _first_line(importlib.import_module(f"dashboard.pages.{page.path}.content"))
    return line.removeprefix(f"{page.name}: ").rstrip(".")


def _commands() -> Iterator[str]:
    rows = [
        (f"`underfoot {verb}`", _first_line(command.callback), _options(command))
        for verb, command in _verbs().items()
    ]
    opening = "`underfoot VERB --help` says what each option does."
    yield from _list("Commands", opening, ("command", "what it does", "options"), rows)


def _options(command: click.Command) -> str:
    named = [name for param in command.params for name in param.opts if name.startswith("--")]
    return ", ".join(f"`{name}`" for name in sorted(named) if name != "--home")


def _colours() -> Iterator[str]:
    rows = [
        (f"`{name.lower()}`", f"`{colour}`") for name, colour in vars(theme).items() if _is_colour(colour)
    ]
    opening = "All there are, in dashboard/theme.py; the feet have none of their own."
    yield from _list("Colours", opening, ("name", "colour"), rows)


def _is_colour(value: object) -> bool:
    return isinstance(value, str) and value.startswith("#")


def _modules() -> Iterator[str]:
    root = FILE.parents[1]
    found = [root / "underfoot.py", *(f for room in ROOMS for f in sorted((root / room).rglob("*.py")))]
    rows = []
    for file in (f for f in found if "__pycache__" not in f.parts):  # compiled kernels are kept there
        opening = ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or ""
        rows.append((f"`{file.relative_to(root)}`", opening.split("\n")[0]))
    yield from _list("Modules", "Where things are, by folder.", ("module", "what it is for"), rows)


def _verbs() -> dict[str, click.Command]:
    return underfoot.cli.commands


def _first_line(thing: object) -> str:
    return (inspect.getdoc(thing) or "").split("\n")[0]


def _list(title: str, opening: str, heads: Iterable[str], rows: Iterable[Iterable[str]]) -> Iterator[str]:
    heads = tuple(heads)
    yield from (f"## {title}", "", opening, "", _row(heads), _row("---" for _ in heads))
    yield from map(_row, rows)
    yield ""


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
    print(f"Written: {FILE.relative_to(Path.cwd())}")
