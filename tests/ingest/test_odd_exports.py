"""Every odd export loads right, loads in part and says so, or is refused with a step that works: none is wrong."""

import gzip
import io
import json
import re
import zipfile
from dataclasses import dataclass, replace

import numpy as np
import pytest

import made_swings
import odd_exports as odd
from builders import load_all
from command import underfoot_command
from ingest.formats.explanation import Knowing
from ingest.formats.format import explain
from ingest.formats.recipe_reading import computed
from ingest.plate_rows import Source
from models.swing.formulas import load_codes
from warehouse.devices import FOOT, HELPERS, TOTAL
from warehouse.errors import UnderfootError
from warehouse.home import Home
from warehouse.store import open_snapshot
from warehouse.traces import read_trace

SETTINGS = (
    'name = "The Hollow Oak academy"\ntime_zone = "Europe/Dublin"\n[device.mat]\nkind = "force_plates"\n'
)
EXPORTS = {export.name: export for export in odd.exports()}
MOST_ROUNDS = 6
RIGHT, PARTLY, REFUSED = "right", "in part, and said", "refused for good"
COUNTS_N = odd.BODY_WEIGHT_N / 48_211
UNITS = {"kg": "kgf", "%BW": "% of body weight", "BW": "body weights", "counts": f"{COUNTS_N}", "g": "gf"}
ROLES = {
    "load": "n", "heel": "heel_n", "fore": "fore_n", "along": "along_pct", "share": "share_pct",
    "heel % of foot": "heel_of_foot_pct", "heel % of both": "heel_of_both_pct", "fore % of both": "fore_of_both_pct",
}  # fmt: skip
# What nobody can know from the file: which foot carries what, or a force that is no load at all.
FOR_GOOD = {
    "plates that were not zeroed", "shear under a name that says force", "commas inside unquoted headers",
    "both feet on one plate", "one foot only", "one plate's force and centre of pressure", "JSON",
}  # fmt: skip


@dataclass
class Outcome:
    """What became of an export: how it was read, its recipe, the questions asked, and why it was refused."""

    what: str
    recipe: str | None = None
    asked: tuple[str, ...] = ()
    why: str = ""


def unpacked(export):
    """The export after the step that a packed file is refused with."""
    name, data = next(iter(export.files.items()))
    if name.endswith(".gz"):
        return replace(export, files={"plate.csv": gzip.decompress(data)})
    if name.endswith(".zip"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return replace(export, files={one: archive.read(one) for one in archive.namelist()})
    return export


def truth_of(export, column):
    """What a column truly is, as the device's owner knows it; of names that come again the first is one foot's."""
    place = re.fullmatch(r"\(column (\d+)\)", column)
    if place:
        return list(export.truth.values())[int(place[1]) - 1]
    facts, (name, _, again) = dict(export.facts), column.partition(" #")
    truth = export.truth[name]
    if "first foot" in facts:
        foot = facts["first foot"] if not again else "right"
        truth = re.sub("^(left|right)", foot, truth)
    return truth


def role_of(truth, choices):
    """The choice that says what a column truly is."""
    if truth == "swing":
        return "swing_no"
    if truth.startswith("clock"):
        return "t_s"
    foot, *rest = truth.split()
    what = " ".join(rest)
    if foot not in ("left", "right") or "shear" in what or "smoothed" in what or "biased" in what:
        return "unused"
    kind = next((ROLES[key] for key in sorted(ROLES, key=len, reverse=True) if what.startswith(key)), None)
    sides = (foot, {"left": "lead", "right": "trail"}[foot])
    return next(choice for choice in choices if choice in {f"{side}_{kind}" for side in sides})


def answer(export, question):
    """What the owner of the device answers."""
    if question.key == "rate":
        return dict(export.facts)["rate"]
    truth = truth_of(export, question.columns[0])
    words = truth.split()
    if question.key == "origin":
        return words[3]
    if question.key == "position unit":
        return words[2]
    if question.key == "clock":
        return "frames" if truth == "frame" else words[1]
    if question.key == "unit":
        return UNITS.get(words[2], words[2])
    return role_of(truth, question.choices)


def follow(export, folder, device):
    """Explain the file, answer what is asked as its owner would, and come to a recipe, or to a refusal."""
    given, asked = {}, []
    for _ in range(MOST_ROUNDS):
        try:
            found = explain(folder / next(iter(export.files)), Knowing(given, odd.BODY_MASS_KG, device))
        except UnderfootError as error:
            return Outcome(REFUSED, asked=tuple(asked), why=str(error))
        if (
            not found.questions
            and found.doubts
            and "--answer unit" in found.doubts[0]
            and "unit" not in given
        ):
            truths = [truth for truth in export.truth.values() if re.match("left load", truth)]
            if truths:  # the step that the refusal names: the owner knows the true unit
                given["unit"] = UNITS.get(truths[0].split()[2], truths[0].split()[2])
                continue
        if not found.questions:
            why = "; ".join(found.doubts)
            return Outcome(REFUSED if found.doubts else RIGHT, found.table, tuple(asked), why)
        asked += [question.sentence for question in found.questions]
        given |= {question.key: answer(export, question) for question in found.questions}
    raise AssertionError(f"{export.name}: asked for ever: {found.questions}")


def session_toml(export, name, device):
    lines = [
        f'session = "{name}"', 'student = "s1"', 'coach = "c1"', f"started_at = {odd.STARTED_AT.isoformat()}",
        'club = "7-iron"', f'device = "{device}"', f"body_mass_kg = {odd.BODY_MASS_KG}",
    ]  # fmt: skip
    for place, no in enumerate(odd.SWINGS):
        lines += ["[[swing]]", f"no = {no}"]
        if export.clock_starts_s is not None:
            lines.append("[swing.events]")
            lines += [f"{e} = {round(t + export.clock_starts_s[place], 4)}" for e, t in odd.EVENTS.items()]
    return "\n".join(lines) + "\n"


def delivered(export, base, name, device):
    folder = base / name
    folder.mkdir(parents=True)
    (folder / "session.toml").write_text(session_toml(export, name, device), encoding="utf-8")
    for file, data in export.files.items():
        (folder / file).write_bytes(data)
    return folder


def academy(base):
    home = Home(base / "academy")
    home.path.mkdir(parents=True)
    home.settings_file.write_text(SETTINGS, encoding="utf-8")
    roster = made_swings.write_roster(base / "roster")
    people = (roster / "people.csv").read_text()
    (roster / "people.csv").write_text(people.replace("right,250,", f"right,{odd.FOOT_LENGTH_MM:g},"))
    found = underfoot_command("load", roster, "--home", home.path, "--json")
    assert json.loads(found.stdout)["refused"] == []
    return home


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """Each export's outcome, and the home into which all were loaded by the recipes that were proposed."""
    base = tmp_path_factory.mktemp("odd")
    home, outcomes, folders, recipes = academy(base), {}, [], []
    for number, (name, given) in enumerate(EXPORTS.items()):
        export = unpacked(given)
        folder = delivered(export, base / "deliveries", f"e{number:03}", "mat")
        outcomes[name] = follow(export, folder, f"d{number:03}")
        recipe = outcomes[name].recipe
        if recipe is not None:
            recipes.append(recipe)
            toml = session_toml(export, f"e{number:03}", f"d{number:03}")
            (folder / "session.toml").write_text(toml, encoding="utf-8")
        folders.append(folder)
    home.settings_file.write_text(SETTINGS + "\n".join(recipes), encoding="utf-8")
    load_all(home, folders)
    return home, outcomes


@pytest.fixture(scope="module")
def plainly(tmp_path_factory):
    """The home into which every export was loaded as it came, under a device without a recipe."""
    base = tmp_path_factory.mktemp("plain")
    home = academy(base)
    names = enumerate(EXPORTS.values())
    load_all(home, [delivered(e, base / "deliveries", f"e{number:03}", "mat") for number, e in names])
    return home


def wrong_channels(trace, export):
    """Channels of a loaded session whose numbers are not what happened, and channels that are there."""
    wrong, there = set(), set()
    for no in trace.swing_no.tolist():
        times, columns = trace.swing(no)
        truth = odd.TRUTH[no]
        rows = np.rint((times - times[0]) * odd.RATE_HZ).astype(int)
        if rows.max() >= truth.t_s.size or np.abs((times - times[0]) - truth.t_s[rows]).max() > 1e-3:
            return {"t_s"}, there
        both = columns["lead_n"] + columns["trail_n"]
        share = columns["lead_n"] / both
        there.add("left_share")
        if np.abs(share - truth.left_share[rows]).max() > 1e-3:
            wrong.add("left_share")
        for foot, side in (("lead", "left"), ("trail", "right")):
            for part, within in (("n", 0.6), ("along_pct", 0.06), ("heel_n", 0.8)):
                values = columns.get(f"{foot}_{part}")
                if values is None or np.isnan(values).all():
                    continue
                there.add(f"{side}_{part}")
                if np.nanmax(np.abs(values - getattr(truth, f"{side}_{part}")[rows])) > within + 3.3 * (
                    part == "n"
                ):
                    wrong.add(f"{side}_{part}")
    return wrong, there


def judged(home, name, outcome):
    """The outcome after the load: right, in part and said, or refused; wrong numbers fail."""
    export, session = EXPORTS[name], f"e{list(EXPORTS).index(name):03}"
    found = list(home.traces.glob(f"*/{session}.parquet"))
    if not found:
        return REFUSED, set()
    trace = read_trace(found[0])
    wrong, there = wrong_channels(trace, export)
    snapshot = open_snapshot(home)
    flags = set(
        snapshot.sql(
            "SELECT DISTINCT unnest(flags) FROM academy.swing WHERE session = ?", [session]
        ).to_series()
    )
    refused = len(snapshot.sql("SELECT 1 FROM academy.refusal WHERE session = ?", [session]))
    snapshot.close()
    if "shares_only" in flags:
        wrong -= {"left_n", "right_n", "left_heel_n", "right_heel_n"}  # no size is claimed
        there -= {"left_n", "right_n", "left_heel_n", "right_heel_n"}
    if "feet_swapped" in flags:
        return PARTLY, set()
    whole = there >= export.known and len(trace.swing_no) == len(odd.SWINGS) and not flags & SAYS_LESS
    said = bool(flags & SAYS_LESS) or refused > 0
    return (RIGHT if whole else PARTLY if said else "in part, unsaid"), wrong


SAYS_LESS = {"shares_only", "no_positions"}


@pytest.mark.parametrize("name", EXPORTS)
def test_an_odd_export_loads_right_or_in_part_and_says_so_or_is_refused_for_good(loaded, name):
    home, outcomes = loaded
    what, wrong = judged(home, name, outcomes[name])
    assert wrong == set()
    assert what in (RIGHT, PARTLY, REFUSED)
    assert (what == REFUSED) == (name in FOR_GOOD), outcomes[name].why


@pytest.mark.parametrize("name", EXPORTS)
def test_without_a_recipe_an_odd_export_is_refused_or_right_never_wrong(plainly, name):
    what, wrong = judged(plainly, name, None)
    assert wrong == set()
    assert what in (RIGHT, PARTLY, REFUSED)


def session_of(name):
    return f"e{list(EXPORTS).index(name):03}"


@pytest.mark.parametrize(("name", "sizes"), [("shares only", False), ("force only", True)])
def test_shares_alone_give_what_needs_no_size_and_loads_alone_what_needs_no_place(loaded, name, sizes):
    snapshot = open_snapshot(loaded[0])
    rows = snapshot.sql("SELECT * FROM academy.swing_metric WHERE session = ?", [session_of(name)])
    snapshot.close()
    known = {code for code in rows.columns if rows[code].null_count() < len(rows)}
    assert {"impact_lead_share_pct", "address_lead_share_pct"} <= known
    assert bool(known & set(load_codes())) == sizes
    assert not {code for code in known if code.endswith("_along_pct")}


DEPARTURES = {
    "a column with another name": (b"Left load", b"Left total"),
    "another unit under the header": (b"-,s,N,N,%,%", b"-,s,kg,kg,%,%"),
    "another separator": (b",", b";"),
}


@pytest.mark.parametrize("departure", DEPARTURES)
def test_a_later_export_that_departs_from_its_devices_recipe_is_stopped(tmp_path, departure):
    export = EXPORTS["a units row"]
    home = academy(tmp_path)
    before = delivered(export, tmp_path / "first", "before", "mine")
    home.settings_file.write_text(SETTINGS + follow(export, before, "mine").recipe, encoding="utf-8")
    changed = replace(export, files={"plate.csv": export.files["plate.csv"].replace(*DEPARTURES[departure])})
    folders = [before, delivered(changed, tmp_path / "second", "after", "mine")]
    found = json.loads(underfoot_command("load", *folders, "--home", home.path, "--json").stdout)
    assert found["accepted"] == ["before"]
    assert {row["reason"] for row in found["refused"]} == {"departs"}


def test_the_same_file_loads_alike_however_often_it_is_explained(tmp_path):
    folder = delivered(EXPORTS["German, tabs, UTF-16"], tmp_path, "x", "mine")
    tables = {explain(folder / "plate.tsv", Knowing({}, odd.BODY_MASS_KG)).table for _ in range(2)}
    assert len(tables) == 1


def test_nothing_that_a_recipe_may_name_of_one_foot_is_left_out():
    sources = {name: Source(name, "x") for name in HELPERS if name not in (FOOT, TOTAL)}
    assert computed(sources, lambda _: np.ones(3)).keys() == sources.keys()
