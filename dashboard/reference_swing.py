"""The reference swing: one good swing that a coach chose, drawn beneath a student's own.

It is the student's, or another player's who agrees to it (consent `show_swing`). That consent is checked
when the swing is chosen, when its note is loaded and each time it would be drawn, and so is what the viewer
may see.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dashboard import inbox
from dashboard.kept import kept
from dashboard.queries import people, swings
from dashboard.text.catalogue import _
from dashboard.text.numbers import on
from warehouse.access import Reader
from warehouse.errors import CallError

SHOW_SWING = "show_swing"


@dataclass(frozen=True)
class ReferenceSwing:
    """The chosen swing; `withheld` says why it is not to be drawn, and is empty where it may be."""

    session: str
    swing_no: int
    name: str
    chosen: str
    withheld: str = ""


def find(reader: Reader, student: str, family: str) -> ReferenceSwing | None:
    """The reference swing of a student with clubs of a family; None where none is chosen."""
    row = swings.reference(reader, student, family)
    if row is None:
        return None
    chosen = _("Chosen by {author} on {day}.").format(author=row["author"], day=on(row["day"]))
    withheld = ""
    if row["owner"] is None:
        withheld = _(
            "The reference swing is not shown: it is of a player whom you do not coach, or its session is no "
            "longer there."
        )
    elif row["owner"] != student and not agreed(reader, row["owner"]):
        withheld = _(
            "The reference swing is not shown: no consent to show {name}'s swings beside another player's "
            "(show_swing in consents.csv) holds today."
        ).format(name=row["owner_name"])
    return ReferenceSwing(row["session"], int(row["swing_no"]), _name(row, student), chosen, withheld)


def _name(row: Mapping[str, Any], student: str) -> str:
    if row["owner"] is None:
        return _("reference swing")
    day, n = on(row["swing_day"]), row["swing_no"]
    if row["owner"] == student:
        return _("own swing {n} of {day}").format(n=n, day=day)
    return _("{name}, swing {n} of {day}").format(name=row["owner_name"], n=n, day=day)


def agreed(reader: Reader, student: str) -> bool:
    """Whether a player's swings may be shown beside another's, by the consents that hold today."""
    return student in _showing(reader) and not reader.is_withheld("measure", student)


@kept
def _showing(reader: Reader) -> set[str]:
    return people.agreed(reader, SHOW_SWING)


def choose(reader: Reader, student: str, owner: str, session: str, swing_no: int) -> Path:
    """Keep in the inbox that a swing is a student's reference from now on.

    Raises
        AccessError: the viewer may not see one of the two.
        CallError: the other player does not agree.
        OSError: the disk did not take it.
    """
    now = inbox.in_reach(reader, student, owner)
    if owner != student and not agreed(now, owner):
        raise CallError(
            _(
                "No consent to show this player's swings beside another's holds today; add show_swing to "
                "consents.csv and load that file."
            )
        )
    return _keep(now, student, "reference", session, swing_no)


def end(reader: Reader, student: str, found: ReferenceSwing) -> Path:
    """Keep in the inbox that a student has this reference swing no longer.

    Raises
        AccessError: the viewer may not see the student.
        OSError: the disk did not take it.
    """
    now = inbox.in_reach(reader, student)
    return _keep(now, student, "reference_over", found.session, found.swing_no)


def _keep(reader: Reader, student: str, kind: str, session: str, swing_no: int) -> Path:
    line = {
        "student": student, "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "author": reader.viewer.person, "kind": kind, "code": session, "value": swing_no, "shared": False,
    }  # fmt: skip
    return inbox.deliver_notes(reader, [line])
