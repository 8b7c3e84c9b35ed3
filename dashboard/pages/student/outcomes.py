"""What became of more than the level: steadier swings, pauses without practice, pace and other clubs."""

from typing import Any

import numpy as np
import polars as pl

from dashboard.queries import season
from dashboard.section import Section, nonempty
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.labels import SHAPES
from dashboard.text.numbers import count, number
from warehouse.vocabulary import (
    CONSISTENCY,
    HOLDING,
    IMPROVING,
    KEEPING,
    NOT_CLEAR,
    SLIPPING,
    TRANSFER_CLUB,
    TRANSFER_PACE,
)

_ASKED = Words({
    CONSISTENCY: "Scatter from swing to swing", KEEPING: "Over weeks without practice",
    TRANSFER_PACE: "At full pace, beside slower swings", TRANSFER_CLUB: "With other clubs, beside these",
})  # fmt: skip
_SAID = {
    CONSISTENCY: Words({IMPROVING: "Steadier", SLIPPING: "Less steady", HOLDING: "No large change"}),
    KEEPING: Words({IMPROVING: "Gained", SLIPPING: "Lost", HOLDING: "No large change"}),
    TRANSFER_PACE: Words({IMPROVING: "Ahead", SLIPPING: "Falls behind", HOLDING: "No large gap"}),
    TRANSFER_CLUB: Words({IMPROVING: "Ahead", SLIPPING: "Falls behind", HOLDING: "No large gap"}),
}
NOTHING = mark(
    "Too soon to say. It takes four sessions with three swings each for scatter, a pause of four weeks for "
    "keeping, and four sessions in which slower swings, or other clubs, were measured too."
)
HOW = (
    mark(
        "Each compares the season's end with its start. Scatter is a percentage of what it was. Over pauses "
        "of four weeks or more without a visit or logged practice, it is how the value came through them. Of "
        "full pace and other clubs, it is how far they have moved beyond slower swings or these clubs in the "
        "same sessions. Plus is the better way."
    ),
    mark(
        "What is called steadier, lost, ahead and so on counts with the season's changes and new faults: of "
        "all of them together about one in twenty is expected to be wrong."
    ),
)


def part(chosen: StudentSeason) -> Section:
    """What can be said of each outcome, the surest words first, and how many can't be judged yet.

    Raises
        UnderfootError: nothing is known yet; it says what it takes.
    """
    rows = nonempty(season.outcomes(chosen.reader, chosen.student, chosen.family, chosen.season), _(NOTHING))
    known = rows.filter(pl.col("label") != NOT_CLEAR).sort(pl.col("label") == HOLDING, maintain_order=True)
    open_ones = rows.height - known.height
    table = pl.DataFrame([_row(chosen, row) for row in known.iter_rows(named=True)])
    left = _("Not clear yet: {rest}.").format(rest=count(open_ones, "comparison")) if open_ones else ""
    file = _("beside the level, {name}").format(name=chosen.person["name"])
    return Section(table=(table, file) if len(table) else None, sentences=(left,), notes=tuple(map(_, HOW)))


def _row(chosen: StudentSeason, row: dict[str, Any]) -> dict[str, str]:
    measure = chosen.measures[row["metric"]]
    change, lo, hi = row["change"], row["change_lo"], row["change_hi"]
    if row["outcome"] == CONSISTENCY:
        said, ends = _percent(change), f"{_percent(hi, unit='')}{_(' to ')}{_percent(lo)}"
    else:
        size = row["worthwhile"]
        said = measure.say(change * size, signed=True)
        ends = measure.say_both(lo * size, hi * size, _(" to "), signed=True)
    return {
        _("Measure"): measure.label,
        _("Looked at"): _ASKED[row["outcome"]],
        _("Change"): said,
        _("Probably (9 in 10)"): ends,
        _("Finding"): f"{SHAPES[row['label']]} {_SAID[row['outcome']][row['label']]}",
    }


def _percent(gain: float, unit: str = "%") -> str:
    """Scatter at the end as a percentage of that at the start, from minus its log's change."""
    return number(100 * float(np.exp(-gain)), unit)
