"""Sentences of several pages: change with its doubt, faults, paces, practice, what was left out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.text.catalogue import Words, _, mark
from dashboard.text.labels import FLAGS, label, marked
from dashboard.text.numbers import NBSP, Measure, count, listed, number, on, share
from warehouse.vocabulary import BETTER, IMPROVING, PACES, SLIPPING, TOO_FEW, WORSE

FEW_SWINGS = 5
FEW_SESSIONS = 3
NO_DRILL_WHILE = mark(
    "While it is open, no drill is suggested here that mentions this area or may load it; what was set "
    "before is marked."
)
AT_PACE = Words({"slow": "a slow pace", "half": "half pace", "full": "full pace"})
DOSE_UNITS = Words({"reps": "times", "minutes": "minutes"})


def band_place(value: float | None, lo: float | None, hi: float | None) -> str:
    """Where a value lies against its band."""
    if value is None or (lo is None and hi is None):
        return _("no target set")
    if lo is not None and value < lo:
        return _("below the target")
    if hi is not None and value > hi:
        return _("above the target")
    return _("inside the target")


def between(lo: str, hi: str) -> str:
    """Where the true value lies nine times in ten: 90 % between +2 and +14 points."""
    return _("{share} between {lo} and {hi}").format(share=share(0.9), lo=lo, hi=hi)


def certainty(p: float | None) -> str:
    """How sure, in words and numbers."""
    if p is None:
        return ""
    word = _("Very likely") if p > 0.95 else _("Likely") if p > 0.8 else _("Not sure")
    return f"{word} ({share(min(p, 0.99))})"


def trend_sentence(measure: Measure, trend: Mapping[str, Any] | None, place: str, sessions: int) -> str:
    """What a season's fit says of one metric, with its doubt; claims nothing that the table does not."""
    few = sessions < FEW_SESSIONS if trend is None else trend["label"] == TOO_FEW
    if few:
        n = sessions if trend is None else int(trend["n_sessions"])
        return _("{measure}: {sessions}. {label} to speak of change.").format(
            measure=measure.label, sessions=count(n, "session"), label=label(TOO_FEW)
        )
    if trend is None:
        return _("{measure}: no season line yet, so nothing is claimed about change.").format(
            measure=measure.label
        )
    code = str(trend["label"])
    sure = {IMPROVING: trend["p_better"], SLIPPING: trend["p_worse"]}.get(code)
    shift = in_points(measure)
    change = _("{measure}: {values}, {place}. Change {change}, {share} between {interval}.").format(
        measure=measure.label,
        values=measure.say_both(trend["start_value"], trend["value_now"], " → "),
        place=place,
        change=shift.say(trend["change"], signed=True),
        share=share(0.9),
        interval=shift.say_both(trend["change_lo"], trend["change_hi"], _(" and "), signed=True),
    )
    return f"{change} {marked(code)}{'. ' + certainty(sure) if sure is not None else ''}."


def fault_sentence(name: str, now: Mapping[str, Any] | None, before: Mapping[str, Any] | None) -> str:
    """One fault, now against before."""
    if now is None or now["rate"] is None:
        return _("{fault}: not measured lately.").format(fault=name)
    text = _("{fault}: {rate} of {swings} lately ({interval})").format(
        fault=name,
        rate=share(now["rate"]),
        swings=count(int(now["usable"]), "swing"),
        interval=between(share(now["rate_lo"]), share(now["rate_hi"])),
    )
    if before is not None and before["rate"] is not None:
        text += _(", before {rate}").format(rate=share(before["rate"]))
    return f"{text}. {marked(str(now['label']))}."


def in_points(measure: Measure) -> Measure:
    """A change of a share is in points: "+7 %" of 61 % would be another number."""
    return replace(measure, unit="points") if measure.unit == "%" else measure


def direction(measure: Measure, before: float, last: float, band: tuple[float | None, float | None]) -> str:
    """Better, Worse, or nothing where the measure has no better way, or stayed inside its band."""
    if measure.better == "band":
        gain = _outside(before, band) - _outside(last, band)
    else:
        gain = (last - before) * {"up": 1, "down": -1}.get(measure.better, 0)
    return BETTER if gain > 0 else WORSE if gain < 0 else ""


def _outside(value: float, band: tuple[float | None, float | None]) -> float:
    lo, hi = band
    below = lo - value if lo is not None else 0.0
    above = value - hi if hi is not None else 0.0
    return max(below, above, 0.0)


def verdict(measure: Measure, row: Mapping[str, Any], band: tuple[float | None, float | None]) -> str:
    """Whether a row of `queries.lesson.last_against_before` moved by more than sessions usually scatter."""
    if row["before"] is None:
        return _("Nothing to compare with")
    if row["beyond"] is None:
        return _("Scatter not known yet")
    shift = in_points(measure)
    if len(shift.unit) > len("points"):  # a long unit is in the column beside it
        shift = replace(shift, unit="")
    if abs(row["last"] - row["before"]) <= row["beyond"]:
        return _("Within the usual scatter ({scatter})").format(scatter=shift.say(row["beyond"]))
    way = direction(measure, row["before"], row["last"], band)
    return _("{change}, by more than the usual scatter ({scatter})").format(
        change=marked(way) if way else _("Moved"), scatter=shift.say(row["beyond"])
    )


def moved(measure: Measure, row: Mapping[str, Any], band: tuple[float | None, float | None]) -> str:
    """One measure before and in the last session, and where it lies against its band."""
    return f"{measure.say_both(row['before'], row['last'], ' → ')}, {band_place(row['last'], *band)}"


def pace_sentence(name: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """At which pace a fault stays away, and what is still wanted: holds at half pace; not yet at full."""
    if not rows:
        return _("{fault}: not swung at any pace lately.").format(fault=name)
    seen = [
        _("{rate} of {swings} at {pace}").format(
            rate=share(row["rate"]), swings=count(int(row["usable"]), "swing"), pace=AT_PACE[row["pace"]]
        )
        for row in rows
        if row["rate"] is not None
    ]
    counts = " " + _("Shows in {rates}.").format(rates=listed(seen)) if seen else ""
    holds = rows[0]["holds_at"]
    if holds == "full":
        return _("{fault}: holds at full pace.").format(fault=name) + counts
    wanted = count(int(rows[0]["clean_swings_wanted"]), "clean_swing")
    if holds is None:
        text = _(
            "{fault}: not yet shown to hold at any pace; about {clean_swings} at {pace} would show it."
        ).format(fault=name, clean_swings=wanted, pace=AT_PACE[PACES[0]])
        return text + counts
    text = _(
        "{fault}: holds at {pace}; not yet at {next_pace}, where about {clean_swings} would show it."
    ).format(
        fault=name,
        pace=AT_PACE[holds],
        next_pace=AT_PACE[PACES[PACES.index(holds) + 1]],
        clean_swings=wanted,
    )
    return text + counts


def dose(row: Mapping[str, Any]) -> str:
    """How much was set or done: 20 times, at half pace."""
    if row["dose"] is None:
        amount = _("no amount given")
    else:
        unit = DOSE_UNITS.get(row["unit"] or "reps", DOSE_UNITS["reps"])
        amount = f"{number(row['dose'])}{NBSP}{unit}"
    if row["pace"] not in AT_PACE:
        return amount
    return _("{amount}, at {pace}").format(amount=amount, pace=AT_PACE[row["pace"]])


def week_sentence(
    minutes: float, untimed: int, first: date, last: date, limit: float | None, *, staff: bool = True
) -> str:
    """Timed practice of a week against the academy's limit for young players.

    `untimed`: days with practice of unknown length; they may put the week over the limit, so they are named.
    """
    text = [
        _("Home practice timed from {first} to {last}: {minutes}.").format(
            minutes=number(minutes, "minutes"), first=on(first), last=on(last)
        )
    ]
    over = limit is not None and minutes > limit
    if limit is not None:
        place = (
            _("That is over the academy's limit of {limit} a week.")
            if over
            else _("That is within the academy's limit of {limit} a week.")
        )
        text.append(place.format(limit=number(limit, "minutes")))
    if untimed:
        more = (
            _("Practice on {days} was not timed.")
            if over or limit is None
            else _("Practice on {days} was not timed, so it may be over.")
        )
        text.append(more.format(days=count(untimed, "day")))
    if limit is None and staff:
        text.append(_("The academy has set no limit yet: young_practice_minutes_a_week in academy.toml."))
    elif limit is None:
        text.append(_("The academy has set no limit yet; ask your coach."))
    return " ".join(text)


def left_out(counts: Mapping[str, Any], flags: Sequence[tuple[str, int]]) -> str | None:
    """How many swings stay out of a season's answers and what marks the others; None when there is nothing.

    `counts` and (flag, swings) as `queries.sessions.left_out` gives them.
    """
    if not counts["out"] and not flags:
        return None
    why = [f"{FLAGS.get(flag, flag.replace('_', ' '))} ({n})" for flag, n in flags]
    return _(
        "Of {swings} of this season, {n} stay out of its answers. Marked, with how many swings: {reasons}."
    ).format(swings=count(counts["swings"], "swing"), n=counts["out"], reasons=listed(why))
