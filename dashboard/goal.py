"""What a player came for, in their own words, and the ball's answer to it beside the footwork's."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.charts import season_line
from dashboard.charts.season_line import SeasonLine
from dashboard.kept import kept
from dashboard.queries import ball, sessions
from dashboard.section import Picture
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import GOALS, PLAINLY, label, marked
from dashboard.text.numbers import Measure, count, lowered, on, share
from warehouse.access import Reader
from warehouse.vocabulary import NOT_CLEAR, TOO_FEW

# Goal → the outcome of the ball that answers it.
ANSWERS = {
    "farther": "carry_m", "straighter": "side_spread_m", "more_solid": "strike_ratio",
    "more_often": "carry_spread_m",
}  # fmt: skip
_LABELS = Words({
    "carry_m": "Carry", "carry_spread_m": "Spread of carry", "side_spread_m": "Spread to the sides",
    "strike_ratio": "Ball speed over club speed",
})  # fmt: skip
_EXPLAIN = Words({
    "carry_m": "How far the ball flies before it lands, the mean of a session's full shots.",
    "carry_spread_m": "How much the carry varies: about two shots in three are within this of its mean.",
    "side_spread_m": "How much the side varies: about two shots in three are within this of its mean.",
    "strike_ratio": "How fast the ball leaves, divided by how fast the club arrives: a strike nearer the "
                    "middle of the face gives more. It depends on the club too, so only one is compared.",
})  # fmt: skip


def measure(outcome: str) -> Measure:
    """An outcome of the ball as it is shown."""
    strike = outcome == "strike_ratio"
    better = "down" if "spread" in outcome else "up"
    decimals = 2 if strike else 1 if better == "down" else 0
    return Measure(outcome, _LABELS[outcome], "" if strike else "m", _EXPLAIN[outcome], better, decimals)


def goal_sentence(reader: Reader, student: str, *, staff: bool) -> str:
    """The goal in the player's words, as the staff reads it or they themselves; empty where there is none."""
    row = ball.goal(reader, student)
    if row is None:
        return ""
    kind = f" ({GOALS[row['code']]})" if row["code"] in GOALS else ""
    said = _("The goal of {day}: “{words}”{kind}.") if staff else _("Your goal since {day}: “{words}”{kind}.")
    return said.format(day=on(row["day"]), words=row["text"].removesuffix("."), kind=kind)


def outcomes(chosen: StudentSeason) -> dict[str, str]:
    """Outcomes of the ball with at least one session, by what they are called; the goal's own first."""
    found = set(_sessions(chosen)["outcome"])
    row = ball.goal(chosen.reader, chosen.student)
    own = ANSWERS.get(row["code"] or "") if row else None
    order = sorted(ANSWERS.values(), key=lambda outcome: outcome != own)
    return {outcome: _LABELS[outcome] for outcome in order if outcome in found}


def _sessions(chosen: StudentSeason) -> pl.DataFrame:
    return ball.ball_sessions(chosen.reader, chosen.student, chosen.family, chosen.season)


@kept
def ball_picture(chosen: StudentSeason, outcome: str, *, narrow: bool) -> tuple[Picture, str]:
    """An outcome of the ball over the season, and what its fit says with its doubt."""
    rows = _sessions(chosen).filter(outcome=outcome)
    trend = ball.ball_trend(chosen.reader, chosen.student, chosen.family, chosen.season, outcome)
    shown, club = measure(outcome), str(rows["club"][-1])
    fitted = pl.DataFrame(schema={"day": pl.Date, "mean": pl.Float64, "lo": pl.Float64, "hi": pl.Float64})
    if trend is not None and trend["change"] is not None:
        ends = [trend["start_value"], trend["value_now"]]
        fitted = pl.DataFrame(
            {"day": [rows["day"][0], rows["day"][-1]], "mean": ends, "lo": ends, "hi": ends}
        )
    line = SeasonLine(
        measure=shown,
        sessions=rows.rename({"value": "mean"}),
        line=fitted,
        band=(None, None),
        ticks=sessions.ticks(chosen.reader, chosen.student, chosen.season),
        changes=pl.DataFrame(schema={"day": pl.Date, "device": pl.String}),
    )
    finding = _("{measure} with the {club}: {said}").format(
        measure=shown.label, club=club, said=_moved(shown, rows, trend)
    )
    key = _(
        "{explanation} Full shots with the {club} only, from sessions with at least five. The true "
        "value is probably inside the bar (9 in 10)."
    ).format(explanation=shown.explain, club=club)
    chart = season_line.picture(line, finding, narrow=narrow)
    return Picture(chart, season_line.words(line), season_line.table(line), key), _doubt(shown, trend)


def _moved(shown: Measure, rows: pl.DataFrame, trend: Mapping[str, Any] | None) -> str:
    """From where to where, and the season's label; of few sessions the last value alone."""
    code = TOO_FEW if trend is None else str(trend["label"])
    if trend is None or trend["change"] is None or code in (TOO_FEW, NOT_CLEAR):
        last = _("{value} at the last session").format(value=shown.say(rows["value"][-1]))
        if code == TOO_FEW:
            few = _("{sessions} with at least five full shots so far, and a change is judged from six on")
            return f"{last}. {few.format(sessions=count(rows.height, 'session'))}"
        return f"{last}. {label(code)}"
    return f"{shown.say(trend['start_value'])} → {shown.say(trend['value_now'])}. {marked(code)}"


def _doubt(shown: Measure, trend: Mapping[str, Any] | None) -> str:
    if trend is None or trend["change"] is None:
        return ""
    return _("Change over {sessions}: {change}, {share} between {interval}.").format(
        sessions=count(int(trend["n_sessions"]), "session"),
        change=shown.say(trend["change"], signed=True),
        share=share(0.9),
        interval=shown.say_both(trend["change_lo"], trend["change_hi"], _(" and "), signed=True),
    )


def ball_sentence(chosen: StudentSeason, *, plainly: bool = False) -> str:
    """The ball's answer to the goal in one sentence; empty where no shots answer it.

    `plainly`: in the words of the player's own page.
    """
    known = outcomes(chosen)
    if not known:
        return ""
    outcome = next(iter(known))
    rows = _sessions(chosen).filter(outcome=outcome)
    trend = ball.ball_trend(chosen.reader, chosen.student, chosen.family, chosen.season, outcome)
    shown = measure(outcome)
    text = _("The ball, {measure} with the {club}: {said}.").format(
        measure=lowered(shown.label), club=rows["club"][-1], said=_moved(shown, rows, trend)
    )
    if not plainly:
        return f"{text} {_doubt(shown, trend)}".strip()
    last = _("The ball at your last session: {measure} {value} with the {club}.").format(
        measure=lowered(shown.label), value=shown.say(rows["value"][-1]), club=rows["club"][-1]
    )
    return f"{last} {shown.explain} {PLAINLY[trend['label'] if trend else TOO_FEW]}"
