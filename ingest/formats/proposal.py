"""The recipe proposed for an unknown plate file: its layout, its columns, what is asked, and its trial.

What is proposed is read back from its own TOML and tried by the reader of a load, so that what
`load --explain` prints loads when it is pasted; what that trial would refuse is said.
"""

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from ingest.cells import open_text
from ingest.formats.column_guess import ColumnGuesses, Entries
from ingest.formats.explanation import Explanation, Knowing, Sheet
from ingest.formats.format import explain
from ingest.formats.header_words import read_header
from ingest.formats.layout_guess import LaidOut, guess_layout
from ingest.formats.plate_columns import Recipe
from ingest.formats.plate_layout import FOOT_OF, PAUSE_S, SWING, numbers, side_in
from ingest.formats.recipe_reading import read_by_layout, read_tables
from ingest.plate_rows import SampleFile, join, snapped
from ingest.recording.shares import share_out
from ingest.recording.swings import cut_up, in_words
from ingest.refusals import refuse
from ingest.samples import Samples
from ingest.session_file import FILE as SESSION_FILE
from ingest.session_file import session_of_nobody
from warehouse import recipes, toml, units
from warehouse.devices import Layout, read_devices
from warehouse.errors import CallError, Refused, UnderfootError

ReadPlain = Callable[[str, bytes, Recipe], SampleFile]  # how a load reads a file without a recipe
TITLE = "Samples of both feet, one row a sample"
_USUAL_FOOT_MM, _USUAL_MASS_KG = 260.0, 75.0  # to try a recipe with, whoever the golfer is
_MOST_SHOWN = 3
LONGEST_SWING_S = 20.0  # an export of one swing is shorter


def propose(path: Path, knowing: Knowing, read_plain: ReadPlain) -> Explanation:
    """How a plate file would be read, what has to be asked, and the recipe by which it loads.

    Raises
        UnderfootError: the file can't be read at all.
    """
    found, data = Explanation(path.name, TITLE), path.read_bytes()
    siblings = _siblings(path)
    laid = guess_layout(data, path.name, siblings, knowing.answers)
    if laid is None:
        what, todo = "no table of numbers was found in it", "export its samples, one row each, and load that"
        raise refuse("empty_file", what, todo, file=path.name)
    found.facts |= laid.facts
    files = {name: data if name == path.name else siblings[name] for name in laid.files}
    sheet = _sheet(files, laid)
    found.facts["rows"] = str(len(next(iter(sheet.numbers.values()), [])))
    entries = ColumnGuesses(sheet, knowing, found).guess()
    if found.questions or found.doubts:
        return found
    rate = knowing.answers.get("rate") or laid.rate_hz
    if _is_plain(data, path.name, laid, found, entries):
        plain = replace(found, facts=dict(found.facts), doubts=[])
        if _try(plain, files, knowing, read_plain):
            plain.facts["device table"] = "none is needed: every column has our own name"
            return plain
    layout = laid.layout
    if "swing_no" not in entries and layout.swings in ("clock", "column", "files"):
        layout = replace(layout, swings=_told_apart(layout, sheet, entries, rate))
    found.table = _device_table(knowing.device, layout, entries, None if rate is None else float(rate))
    _try(found, files, knowing, read_plain)
    return found


def _told_apart(layout: Layout, sheet: Sheet, entries: Entries, rate: str | float | None) -> str:
    """How swings without numbers are told apart: a clock that runs on beyond a swing is cut by movement."""
    entry = entries.get("t_s")
    if layout.clock == "order" or entry is None:
        rows = len(next(iter(sheet.numbers.values()), []))
        seconds = rows / float(rate) if rate else 0.0
    else:
        values = sheet.numbers[str(entry["column"])]
        time = values[np.isfinite(values)]
        named, hz = entry.get("unit"), None if rate is None else float(rate)
        unit = units.time_factor(None if named is None else str(named), rate_hz=hz)
        breaks = np.flatnonzero((np.diff(time) < 0) | (np.diff(time) * unit > PAUSE_S))
        edges = np.concatenate([[0], breaks + 1, [time.size]])
        seconds = float(np.max([np.ptp(time[a:b]) for a, b in pairwise(edges) if b > a], initial=0.0) * unit)
    return "found" if seconds > LONGEST_SWING_S else layout.swings


def explain_file(path: Path, device: str, answers: Sequence[str]) -> Explanation:
    """How a file would be read, with `answers` written WHAT=ANSWER and the body mass of a session beside it.

    Raises
        CallError: an answer without "=". UnderfootError: the file can't be read at all.
    """
    given: dict[str, str] = {}
    for answer in answers:
        what, parted, value = answer.rpartition("=")
        if not parted:
            raise CallError(f'"{answer}" is no answer; write WHAT=ANSWER, as in origin=heel.')
        given[what.strip()] = value.strip()
    return explain(path, Knowing(given, _mass_beside(path), device))


def _mass_beside(path: Path) -> float | None:
    """The body mass in the session.toml of the same folder, if any."""
    try:
        table = toml.tables((path.parent / SESSION_FILE).read_bytes())
    except (OSError, ValueError):
        return None
    mass = table.get("body_mass_kg")
    return float(mass) if toml.is_number(mass) else None


def _siblings(path: Path) -> dict[str, bytes]:
    """Files beside it that could be the other foot's."""
    side = side_in(path.stem)
    if side is None:
        return {}
    others = (p for p in path.parent.iterdir() if p.is_file() and p.suffix == path.suffix and p != path)
    return {p.name: p.read_bytes() for p in others if side_in(p.stem) not in (None, side)}


def _sheet(files: Mapping[str, bytes], laid: LaidOut) -> Sheet:
    """The file's columns as numbers, read by the layout found."""
    layout = laid.layout
    table = read_tables(files, layout, set(laid.names))
    cells, clocks, values = table.cells, {}, {}
    for name in cells.columns:
        if name in (SWING, FOOT_OF):
            continue
        filled = cells[name].drop_nulls().head(50)
        if len(filled) and filled.str.contains(r"^\d{4}-\d\d-\d\d[ T]").all():
            clocks[name] = "timestamp"
        elif len(filled) and filled.str.contains(r"^(\d+:)?\d+:\d+").all():
            clocks[name] = "h:m:s"
        values[name] = numbers(cells[name], layout, clocks.get(name)).cast(pl.Float64).to_numpy()
    foot_column = feet = None
    if layout.feet != "columns":
        foot_column = next(
            (
                n
                for n in cells.columns
                if {side_in(w or "") for w in cells[n].unique()} in ({"left", "right"}, {"lead", "trail"})
            ),
            None,
        )
        if foot_column is not None:
            feet = np.array([side_in(word or "") or "" for word in cells[foot_column]])
    headless = all(name.startswith("(column") for name in values)
    if not (clocks or headless or any(read_header(name).says("clock") for name in values)):
        laid.layout = replace(laid.layout, clock="order")
        if laid.layout.swings == "clock":
            laid.layout = replace(laid.layout, swings="column")
    has_swings = layout.swings != "column"
    return Sheet(
        values, table.units, clocks, feet, foot_column, has_swings,
        laid.layout.clock == "column", laid.rate_hz,
    )  # fmt: skip


def _is_plain(data: bytes, name: str, laid: LaidOut, found: Explanation, entries: Entries) -> bool:
    """Whether a load reads the file without a recipe: our own names, on the first line of plain text."""
    if any(column.ours != column.theirs for column in found.columns):
        return False
    if not {"lead_along_pct", "left_along_pct"} & entries.keys() or "swing_no" not in entries:
        return False
    comma_twice = laid.layout.decimal == laid.layout.delimiter == ","
    if replace(laid.layout, delimiter=None, decimal=None) != Layout() or comma_twice:
        return False
    try:
        return name.endswith(".parquet") or set(open_text(data, name).names) == set(laid.names)
    except Refused:
        return False


def _device_table(device: str, layout: Layout, entries: Entries, rate_hz: float | None) -> str:
    """The `[device.NAME]` table by which the file loads."""
    usual = asdict(Layout())
    table: dict[str, object] = {"kind": "force_plates"}
    counts_frames = entries.get("t_s", {}).get("unit") == "frames"
    if (counts_frames or layout.clock == "order") and rate_hz is not None:
        table["rate_hz"] = rate_hz
    table["layout"] = {key: value for key, value in asdict(layout).items() if value != usual[key]}
    return recipes.recipe_text(device, table | {"columns": entries})


def _try(found: Explanation, files: Mapping[str, bytes], knowing: Knowing, read_plain: ReadPlain) -> bool:
    """Read the file by what is proposed, as a load does, and say what that refuses; whether all loads."""
    name, data = next(iter(files.items()))
    try:
        tables = tomllib.loads(found.table or "").get("device", {})
        settings = read_devices(tables, "the proposed table").get(knowing.device)
        mass = knowing.body_mass_kg
        recipe = Recipe(name, settings, "right", _USUAL_FOOT_MM, mass or _USUAL_MASS_KG)
        read = read_plain(name, data, recipe) if found.table is None else read_by_layout(recipe, files)
        if recipe.layout is not None and recipe.layout.swings == "found":
            read = cut_up(read)
            found.recording = [{"no": no, **asdict(one)} for no, one in read.found.items()]
            if not any("shares_only" in flags for flags in read.flags.values()):
                found.shares = [asdict(share) for share in share_out(read.found)]
        return _judge(found, read, mass)
    except UnderfootError as error:
        found.doubts.append(str(error).removesuffix("."))
        return False


def _judge(found: Explanation, read: SampleFile, mass: float | None) -> bool:
    """What would become of the swings that were read; whether all of them load."""
    swings = read.numbers
    samples = Samples(join([read]), session_of_nobody(swings, mass))
    numbered = f"{len(swings)}, numbered {_span(swings)}"
    found.facts["swings"] = in_words(read.found.values()) if read.found else numbered
    if samples.good:
        rates = [one.rate_hz for one in samples.good.values()]
        found.facts["rate"] = f"{snapped(float(np.median(rates))):.5g} Hz"
    refused = samples.refused
    if refused and not samples.good:
        found.doubts += [one.sentence.removesuffix(".") for one in refused[:_MOST_SHOWN]]
        if len(refused) > _MOST_SHOWN:
            found.doubts.append(f"and {len(refused) - _MOST_SHOWN} more swings would be refused")
    elif refused:
        found.facts["would be refused"] = f"{len(refused)} of {len(swings)} swings: {refused[0].sentence}"
    if read.broken:
        found.facts["cells that are not numbers"] = str(len(read.broken))
    return not refused and not read.broken


def _span(swings: list[int]) -> str:
    return f"{swings[0]} to {swings[-1]}" if len(swings) > 1 else ", ".join(map(str, swings)) or "none"
