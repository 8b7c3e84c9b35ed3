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
from warehouse.vocabulary import HOLDING, IMPROVING, NOT_CLEAR, SLIPPING, Outcome

_ASKED = Words({
    Outcome.CONSISTENCY: "Scatter from swing to swing", Outcome.KEEPING: "After weeks without practice",
    Outcome.TRANSFER_PACE: "At full pace, compared with slower swings",
    Outcome.TRANSFER_CLUB: "With other clubs, compared with these",
})  # fmt: skip
_SAID = {
    Outcome.CONSISTENCY: Words({IMPROVING: "Steadier", SLIPPING: "Less steady", HOLDING: "No large change"}),
    Outcome.KEEPING: Words({IMPROVING: "Gained", SLIPPING: "Lost", HOLDING: "No large change"}),
    Outcome.TRANSFER_PACE: Words({IMPROVING: "Ahead", SLIPPING: "Falls behind", HOLDING: "No large gap"}),
    Outcome.TRANSFER_CLUB: Words({IMPROVING: "Ahead", SLIPPING: "Falls behind", HOLDING: "No large gap"}),
}
NOTHING = mark(
    "Too soon to say. Scatter needs four sessions with at least three swings each; time off, a break of four "
    "weeks; pace and clubs, four sessions in which slower swings or other clubs were measured too."
)
HOW = (
    mark(
        "Each row compares the end of the season with its start. For scatter, 100 % is as much as at the "
        "start. After breaks of four weeks or more without a visit or logged practice, it is how far the "
        "value had moved. For pace and clubs, it is how far full pace or the other clubs have moved relative "
        "to slower swings or these clubs in the same sessions. Less scatter is better; otherwise plus is."
    ),
    mark(
        "Findings such as steadier or lost share one allowance for error with the season's changes and new "
        "faults: about one in twenty of them all is expected to be wrong."
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
    file = _("steadiness, time off, pace and clubs, {name}").format(name=chosen.person["name"])
    return Section(table=(table, file) if len(table) else None, sentences=(left,), notes=tuple(map(_, HOW)))


def _row(chosen: StudentSeason, row: dict[str, Any]) -> dict[str, str]:
    measure = chosen.measures[row["metric"]]
    change, lo, hi = row["change"], row["change_lo"], row["change_hi"]
    if row["outcome"] == Outcome.CONSISTENCY:
        said, ends = _percent(change), f"{_percent(hi, unit='')}{_(' to ')}{_percent(lo)}"
    else:
        size = row["worthwhile"]
        said = measure.say(change * size, signed=True)
        ends = measure.say_both(lo * size, hi * size, _(" to "), signed=True)
    return {
        _("Measure"): measure.label,
        _("What was compared"): _ASKED[row["outcome"]],
        _("Change"): said,
        _("Probably (9 in 10)"): ends,
        _("Finding"): f"{SHAPES[row['label']]} {_SAID[row['outcome']][row['label']]}",
    }


def _percent(gain: float, unit: str = "%") -> str:
    """Scatter at the end as a percentage of that at the start, from minus its log's change."""
    return number(100 * float(np.exp(-gain)), unit)
