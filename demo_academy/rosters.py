"""The roster deliveries: people, coaching, drills, seasons, consents, device checks, and academy.toml."""

from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from demo_academy.people import (
    COACHES,
    DEVICE_CHANGE,
    DEVICES,
    NO_CONSENT,
    PLATE_DRIFT,
    SEASON,
    Device,
    Student,
    guardian_name,
)
from warehouse.founding import starter_drills
from warehouse.invented import people_digest

KNOWN_KG = 20.0
MONTH_DAYS = 365.25 / 12
ACADEMY_TOML = """\
# The demo academy: everyone and everything in it is invented.
name = "Demo Footwork Academy"
time_zone = "Europe/Dublin"
demo = true
demo_people = "{digest}"  # who is invented: with anyone else in it, these pages stay closed
young_practice_minutes_a_week = 150

[device.mat-east]
kind = "pressure_mat"

[device.plates-north]
kind = "force_plates"
[device.plates-north.columns]
swing_no = { column = "Rep" }
t_s = { column = "Clock", unit = "ms" }
left_n = { column = "L Force", unit = "lbf" }
right_n = { column = "R Force", unit = "lbf" }
left_along_pct = { column = "L Pos", unit = "in" }
right_along_pct = { column = "R Pos", unit = "in" }

[device.insoles-a]
kind = "insoles"

[device.plates-west]
kind = "force_plates"
[device.plates-west.columns]
left_n = { column = "load_left", unit = "kgf" }
right_n = { column = "load_right", unit = "kgf" }
left_along_pct = { column = "pos_left", unit = "cm" }
right_along_pct = { column = "pos_right", unit = "cm" }

[device.plates-west-2]
kind = "force_plates"
[device.plates-west-2.columns]
left_n = { column = "load_left", unit = "kgf" }
right_n = { column = "load_right", unit = "kgf" }
left_along_pct = { column = "pos_left", unit = "cm" }
right_along_pct = { column = "pos_right", unit = "cm" }

[device.plates-south]
kind = "force_plates"
"""


def write_rosters(
    target: Path, students: list[Student], changes: dict[str, tuple[date, str]], rng: np.random.Generator
) -> None:
    """Write academy.toml and the five roster files; `changes` is student → (day, new coach)."""
    folder = target / "inbox" / "rosters"
    folder.mkdir(parents=True, exist_ok=True)
    people = _people(students, rng)
    people.write_csv(folder / "people.csv")
    digest = people_digest(people.select("person", "display_name", "born").rows())
    settings = ACADEMY_TOML.replace("{digest}", digest)
    (target / "academy.toml").write_text(settings, encoding="utf-8", newline="\n")
    _coaching(students, changes).write_csv(folder / "coaching.csv")
    drills = [(d.code, d.name, d.aim, d.how, d.cautions, d.min_age) for d in starter_drills()]
    names = ["drill", "name", "aim", "how", "cautions", "min_age"]
    pl.DataFrame(drills, schema=names, orient="row").write_csv(folder / "drills.csv")
    pl.DataFrame([SEASON], schema=["season", "from", "to"], orient="row").write_csv(folder / "seasons.csv")
    _consents(students).write_csv(folder / "consents.csv")


def _people(students: list[Student], rng: np.random.Generator) -> pl.DataFrame:
    began = date(2023, 1, 9)
    rows: list[tuple[object, ...]] = [
        (c.code, "head_coach" if c.head else "coach", c.name, None, None, None, None, None, began, None)
        for c in COACHES
    ]
    rows += [
        (s.code, "student", s.name, s.born, s.handed, s.foot_mm, s.level, None, s.joined, None)
        for s in students
    ]
    rows += [
        (s.guardian, "guardian", guardian_name(s, rng), None, None, None, None, s.code, s.joined, None)
        for s in students
        if s.guardian is not None
    ]
    born, joined = date(1979, 11, 20), date(2026, 5, 4)
    rows.append((NO_CONSENT, "student", "Ottoline Varneck", born, "right", 251.0, "club", None, joined, None))
    names = ["person", "role", "display_name", "born", "handed", "foot_length_mm", "level", "guardian_of",
             "joined", "left"]  # fmt: skip
    return pl.DataFrame(rows, schema=names, orient="row", infer_schema_length=None)


def _coaching(students: list[Student], changes: dict[str, tuple[date, str]]) -> pl.DataFrame:
    rows: list[tuple[object, ...]] = []
    for s in students:
        day, coach = changes.get(s.code, (None, None))
        rows.append((s.code, s.coach, s.joined, day - timedelta(days=1) if day else None))
        if day:
            rows.append((s.code, coach, day, None))
    rows.append((NO_CONSENT, "c02", date(2026, 5, 4), None))
    return pl.DataFrame(
        rows, schema=["student", "coach", "from", "to"], orient="row", infer_schema_length=None
    )


def _consents(students: list[Student]) -> pl.DataFrame:
    rows: list[tuple[object, ...]] = [
        (s.code, s.guardian or s.code, purpose, s.joined, None)
        for s in students
        for purpose in ("measure", "film", "share_page")
    ]
    rows += [(s.code, s.guardian or s.code, "show_swing", s.joined, None) for s in students[::2]]
    rows.append((NO_CONSENT, NO_CONSENT, "share_page", date(2026, 5, 4), None))
    names = ["student", "given_by", "purpose", "from", "to"]
    return pl.DataFrame(rows, schema=names, orient="row", infer_schema_length=None)


def write_device_checks(target: Path, rng: np.random.Generator) -> None:
    """Write device_checks.csv: 20 kg on each half of each device in use, every Monday morning."""
    rows = [row for device in DEVICES.values() for side in device.sides for row in _checks(device, side, rng)]
    names = ["device", "side", "at", "known_kg", "reading_kg"]
    frame = pl.DataFrame(rows, schema=names, orient="row")
    frame.write_csv(target / "inbox" / "rosters" / "device_checks.csv")


def _checks(device: Device, side: str, rng: np.random.Generator) -> list[tuple[object, ...]]:
    """A drifting half gains from its check `from_check` on, a straight line."""
    day = DEVICE_CHANGE if device.name == "plates-west-2" else SEASON[1]
    last = DEVICE_CHANGE if device.name == "plates-west" else SEASON[2]
    drifts = (device.name, side) == (PLATE_DRIFT.device, PLATE_DRIFT.side)
    rows: list[tuple[object, ...]] = []
    while day < last:
        weeks = max(len(rows) - PLATE_DRIFT.from_check, 0) if drifts else 0
        error = PLATE_DRIFT.pct_a_month * weeks * 7 / MONTH_DAYS + rng.normal(0, device.check_noise_pct)
        at = datetime.combine(day, time(8, 30)).isoformat()
        rows.append((device.name, side, at, KNOWN_KG, round(KNOWN_KG * (1 + error / 100), 2)))
        day += timedelta(days=7)
    return rows
