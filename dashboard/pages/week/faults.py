"""The academy's commonest faults in the weekly review."""

from typing import Any

import polars as pl

from dashboard.queries import people, review
from dashboard.section import nonempty
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, listed, number, share
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
            _("Earlier"): _share(row, "before"),
            _("Lately"): _share(row, "now"),
            _("In one swing in five or more"): _("{n} of {students}").format(
                n=row["often"], students=count(row["students"], "student")
            ),
            _("Drills that help"): listed([drills[drill] for drill in row["drills"]]) or _("none known yet"),
        }
        for row in rows.iter_rows(named=True)
    ]
    return pl.DataFrame(nonempty(found, _("No fault has been judged lately.")))


def _share(row: dict[str, Any], span: str) -> str:
    """A mean share of swings with where it lies nine times in ten: 24 % (20–28 %)."""
    mean, half = row[span], row[f"{span}_half"]
    if mean is None:
        return "–"
    ends = "" if half is None else f" ({number(100 * max(mean - half, 0))}–{share(min(mean + half, 1))})"
    return share(mean) + ends
