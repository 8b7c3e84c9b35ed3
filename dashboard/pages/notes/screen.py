"""Write a note: between two lessons, on a phone; kept on disk before the page says that it is kept."""

from collections.abc import Mapping
from datetime import date, datetime
from functools import partial
from typing import Any

import streamlit as st

from dashboard import body, frame, layout, readers
from dashboard.components import note_form
from dashboard.pages.notes import content as notes
from dashboard.pages.student.screen import KINDS
from dashboard.queries import lesson, people, sessions
from dashboard.text.cautions import DISCOMFORT, EYES_CLOSED, MINORS
from dashboard.text.numbers import count, listed
from warehouse.access import Reader
from warehouse.errors import UnderfootError
from warehouse.vocabulary import age

DOSES = (5, 10, 15, 20, 30, 50)
MOST_FIRST = 6  # faults that stand open; the others are behind one more tap


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Write a note")
    student = person["student"]
    st.title(f"A note on {person['name']}", anchor=False)
    layout.discomfort(reader, student)
    told = st.session_state.get(f"told-{student}")
    note_form.show(
        _form(reader, person, told), key=f"note-{student}", on_note=partial(_keep, reader, student)
    )  # fmt: skip
    _waiting(student)
    frame.link("lesson", "Lesson sheet →", student=student)
    if reader.is_minor(student):
        layout.aside(MINORS)


def _keep(reader: Reader, student: str, form: Mapping[str, Any]) -> None:
    """Keep what was sent; what the form then says is true only once the disk has it."""
    told: dict[str, Any] = {"id": str(form.get("id")), "kept": False}
    try:
        written = notes.keep(readers.home(), reader, student, form)
    except UnderfootError as error:
        told["said"] = f"Not kept. {error}"
    except OSError as error:
        told["said"] = (
            f"Not kept: the disk did not take it ({error.strerror}). Try again, or tell the head coach."
        )
    else:
        kinds = listed([KINDS[line["kind"]].lower() for line in written])
        at = datetime.now(reader.settings.zone)
        told |= {
            "kept": True,
            "said": f"Kept at {at:%H:%M}: {kinds}. It shows on the pages once it is loaded.",
        }
    st.session_state[f"told-{student}"] = told


def _form(reader: Reader, person: Mapping[str, Any], told: dict[str, Any] | None) -> dict[str, Any]:
    student = person["student"]
    given = lesson.doses(reader, student).filter(kind="drill")
    found = sessions.open_discomfort(reader, student).drop_nulls("code").unique("code", maintain_order=True)
    hurting = found["area"].to_list()
    first = given["drill"].unique(maintain_order=True).to_list()
    drills = people.drills(reader).to_dicts()
    drills.sort(key=lambda row: first.index(row["drill"]) if row["drill"] in first else len(first))
    return {
        "author": reader.viewer.person,
        "student": student,
        "faults": _faults(reader, student),
        "drills": [(row["drill"], _named(person, reader.today, row, hurting)) for row in drills],
        "doses": sorted({*DOSES, *_last_dose(given)}),
        "areas": list(body.AREAS),
        "open": found.select("code", "area").rows(),
        "metrics": [(m.metric, m.label) for m in people.measures(reader).values() if m.better == "band"],
        "cautions": {"hurts": DISCOMFORT, "closed": EYES_CLOSED},
        "defaults": _defaults(given),
        "told": told,
    }


def _faults(reader: Reader, student: str) -> list[tuple[str, str, bool]]:
    """Code, name, and whether it stands open: those this student shows most, then the order of the swing."""
    names = people.faults(reader)
    often = [code for code in people.faults_shown(reader, student) if code in names][:MOST_FIRST]
    rest = [code for code in names if code not in often]
    often += rest[: MOST_FIRST - len(often)]
    return [(code, names[code], True) for code in often] + [
        (code, name, False) for code, name in names.items() if code not in often
    ]


def _named(person: Mapping[str, Any], today: date, drill: Mapping[str, Any], hurting: list[str]) -> str:
    """A drill's name with what speaks against it for this student."""
    years = age(person["born"], today)
    texts = [drill["name"], drill["how"], drill["cautions"]]
    against = [f"may load {area}" for area in hurting if body.may_load(area, texts)]
    if drill["min_age"] is not None and (years is None or years < drill["min_age"]):
        against.append(f"from {drill['min_age']} years on")
    return f"{drill['name']} ({listed(against)})" if against else str(drill["name"])


def _last_dose(given: Any) -> list[int]:
    return [int(dose) for dose in given["dose"].drop_nulls().head(1)]


def _defaults(given: Any) -> dict[str, Any]:
    """What the last lesson set; the drill itself is chosen anew each time."""
    last = given.row(0, named=True) if len(given) else {}
    dose = _last_dose(given)
    return {
        "grade": "2", "dose": str(dose[0] if dose else 20), "unit": last.get("unit") or "reps",
        "pace": last.get("pace") or "slow", "place": last.get("place") or "lesson", "shared": True,
        "lost": "0", "eyes": "open",
    }  # fmt: skip


def _waiting(student: str) -> None:
    found = notes.waiting(readers.home(), student)
    if found:
        layout.say(f"{count(len(found), 'line')} of notes on this student wait in the inbox to be loaded.")
