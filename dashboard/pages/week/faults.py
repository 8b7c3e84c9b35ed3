"""The academy's commonest faults in the weekly review."""

from typing import Any

import polars as pl

from dashboard.queries import people, review
from dashboard.section import nonempty
from dashboard.text.catalogue import _
from dashboard.text.numbers import listed, number, quoted, share
from warehouse.access import Reader

MOST_FAULTS = 3


def top_faults(reader: Reader) -> pl.DataFrame:
    """The faults that show in most swings now, with their share before and the drills that help.

    Raises
        UnderfootError: no fault has been judged lately.
    """
    rows = review.top_faults(reader, people.newest_season(reader), MOST_FAULTS)
    names, drills = people.faults(reader), dict(people.drills(reader).select("drill", "name").iter_rows())
    found = [
        {
            _("Fault"): names[row["fault"]],
            _("Swings, earlier"): _share(row, "before"),
            _("Swings, now"): _share(row, "now"),
            _("Students, earlier"): _students(row["often_before"], row["students_before"]),
            _("Students, now"): _students(row["often"], row["students"]),
            _("Moved by"): listed([drills[drill] for drill in row["drills"]]) or _("no drill yet"),
        }
        for row in rows.iter_rows(named=True)
    ]
    return pl.DataFrame(nonempty(found, _("No fault has been judged lately.")))


def finding(rows: pl.DataFrame) -> str:
    """The heading of `top_faults`: which shows most, and which of them a drill has moved."""
    most, moved = rows[_("Fault")][0], rows.filter(pl.col(_("Moved by")) != _("no drill yet"))
    if moved.is_empty():
        return _("“{fault}” shows most; no drill has moved the top three yet").format(fault=most)
    return _("“{fault}” shows most; drills have moved {moved}").format(
        fault=most, moved=listed([quoted(name) for name in moved[_("Fault")]])
    )


def sentences(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Each fault of `top_faults`, and a sentence of it."""
    found = []
    for fault, before, now, students_before, students, moved in rows.iter_rows():
        said = _("{now} of swings; often in {students} students.").format(now=now, students=students)
        if before != "–":
            said += " " + _("Earlier {before}, {students}.").format(before=before, students=students_before)
        found.append((fault, f"{said} " + _("Moved by: {drills}.").format(drills=moved)))
    return found


def _students(often: int | None, students: int | None) -> str:
    """How many students have it in one swing in five or more."""
    return "–" if students is None else _("{n} of {students}").format(n=often, students=students)


def _share(row: dict[str, Any], span: str) -> str:
    """A mean share of swings with where it lies nine times in ten: 24 % (20–28 %)."""
    mean, half = row[span], row[f"{span}_half"]
    if mean is None:
        return "–"
    ends = "" if half is None else f" ({number(100 * max(mean - half, 0))}–{share(min(mean + half, 1))})"
    return share(mean) + ends
