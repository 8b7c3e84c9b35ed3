"""Sentences of several pages: change with its doubt, faults, paces, practice, what was left out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from dashboard.text.labels import BETTER, FLAGS, IMPROVING, SLIPPING, TOO_FEW, WORSE, label, marked
from dashboard.text.numbers import NBSP, Measure, count, listed, number, on, share

FEW_SWINGS = 5


FEW_SESSIONS = 3


FEET = (
    "The lead foot is the one nearer the target, the trail foot the other. Load is how hard a foot presses "
    "on the ground."
)


POINT = "A point is one hundredth of all the load on your two feet."


def band_place(value: float | None, lo: float | None, hi: float | None) -> str:
    """Where a value stands against its band."""
    if value is None or (lo is None and hi is None):
        return "no band set"
    if lo is not None and value < lo:
        return "below the band"
    if hi is not None and value > hi:
        return "above the band"
    return "inside the band"


def certainty(p: float | None) -> str:
    """How sure, in words and numbers."""
    if p is None:
        return ""
    word = "Real, not noise" if p > 0.95 else "Likely" if p > 0.8 else "Not sure"
    return f"{word} ({share(min(p, 0.99))})"


def trend_sentence(measure: Measure, trend: Mapping[str, Any] | None, place: str, sessions: int) -> str:
    """What a season's fit says of one metric, with its doubt; claims nothing that the table does not."""
    if trend is None and sessions < FEW_SESSIONS:
        return f"{measure.label}: {count(sessions, 'session')}. {label(TOO_FEW)} to speak of change."
    if trend is None:
        return f"{measure.label}: no season line yet, so nothing is claimed about change."
    code = str(trend["label"])
    if code == TOO_FEW:
        sessions = int(trend["n_sessions"])
        return f"{measure.label}: {count(sessions, 'session')}. {label(TOO_FEW)} to speak of change."
    sure = {IMPROVING: trend["p_better"], SLIPPING: trend["p_worse"]}.get(code)
    # A change of a share is in points: "+7 %" of 61 % would be another number.
    shift = replace(measure, unit="points") if measure.unit == "%" else measure
    change = (
        f"{measure.label}: {measure.say_both(trend['start_value'], trend['value_now'], ' → ')}, {place}. "
        f"Change {shift.say(trend['change'], signed=True)}, 90{NBSP}% between "
        f"{shift.say_both(trend['change_lo'], trend['change_hi'], ' and ', signed=True)}."
    )
    return f"{change} {marked(code)}{'. ' + certainty(sure) if sure is not None else ''}."


def fault_sentence(name: str, now: Mapping[str, Any] | None, before: Mapping[str, Any] | None) -> str:
    """One fault, now against before."""
    if now is None or now["rate"] is None:
        return f"{name}: not measured lately."
    text = (
        f"{name}: {share(now['rate'])} of {count(int(now['usable']), 'swing')} lately "
        f"(90{NBSP}% between {share(now['rate_lo'])} and {share(now['rate_hi'])})"
    )
    if before is not None and before["rate"] is not None:
        text += f", before {share(before['rate'])}"
    return f"{text}. {marked(str(now['label']))}."


NOISE = "Could be noise"
REAL = "Real, not noise"
PACES = {"slow": "slow", "half": "half pace", "full": "full pace"}
DOSE_UNITS = {"reps": "times", "minutes": "minutes"}
NO_DRILL_WHILE = (
    "While it is open, no drill is suggested here that mentions this area or may load it; what was set "
    "before is marked."
)


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
    """Real or noise, of one row of `queries.lesson.last_against_before`."""
    if row["before"] is None:
        return "Nothing to compare with"
    if row["beyond"] is None:
        return "Scatter not known yet"
    shift = in_points(measure)
    if len(shift.unit) > len("points"):  # a long unit stands in the column beside
        shift = replace(shift, unit="")
    if abs(row["last"] - row["before"]) <= row["beyond"]:
        return f"{NOISE}: under {shift.say(row['beyond'])}"
    way = direction(measure, row["before"], row["last"], band)
    return f"{marked(way) if way else 'Moved'}. {REAL}: over {shift.say(row['beyond'])}"


def moved(measure: Measure, row: Mapping[str, Any], band: tuple[float | None, float | None]) -> str:
    """One measure before and in the last session, and where it stands against its band."""
    return f"{measure.say_both(row['before'], row['last'], ' → ')}, {band_place(row['last'], *band)}"


def pace_sentence(name: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """At which pace a fault stays away, and what is still wanted: holds at half pace; not yet at full."""
    if not rows:
        return f"{name}: not swung at any pace lately."
    seen = [
        f"{share(row['rate'])} of {count(int(row['usable']), 'swing')} at {_at(row['pace'])}"
        for row in rows
        if row["rate"] is not None
    ]
    counts = f" Shows in {listed(seen)}." if seen else ""
    holds = rows[0]["holds_at"]
    wanted = f"about {count(int(rows[0]['clean_swings_wanted']), 'clean swing')} at one pace would show it"
    if holds == "full":
        return f"{name}: holds at full pace.{counts}"
    if holds is None:
        return f"{name}: not yet shown to hold at any pace; {wanted}.{counts}"
    order = list(PACES)
    following = order[order.index(holds) + 1]
    return f"{name}: holds at {_at(holds)}; not yet at {_at(following)}; {wanted}.{counts}"


def _at(pace: str) -> str:
    return {"slow": "a slow pace", "half": "half pace", "full": "full pace"}[pace]


def dose(row: Mapping[str, Any]) -> str:
    """How much was set or done: 20 times, at half pace."""
    if row["dose"] is None:
        amount = "no amount given"
    else:
        amount = f"{number(row['dose'])}{NBSP}{DOSE_UNITS.get(row['unit'] or 'reps', 'times')}"
    return f"{amount}, at {_at(row['pace'])}" if row["pace"] in PACES else amount


def practised(days: int, minutes: float, since: date) -> str:
    """Home practice since a day."""
    if days == 0:
        return f"No home practice is written down since {on(since)}."
    timed = f", {number(minutes, 'minutes')}" if minutes else ""
    return f"Practised at home on {count(days, 'day')} since {on(since)}{timed}."


def effect_sentence(row: Mapping[str, Any], measure: Measure | None) -> str:
    """What a drill kept, with its doubt and its basis. `measure` is the aim's, null for a fault."""
    basis = f"{count(int(row['n_students']), 'student')}, {count(int(row['n_doses']), 'dose')}"
    if row["kept"] is None:
        return f"{row['name']}: {row['label'].lower()} ({basis})."
    unit, decimals = (
        (row["unit"] or "", 0) if measure is None else (in_points(measure).unit, measure.decimals)
    )
    lo, hi = (number(row[name], "", decimals, signed=True) for name in ("kept_lo", "kept_hi"))
    kept = number(row["kept"], unit, decimals, signed=True)
    return (
        f"{row['name']}: {row['label'].lower()}; kept {kept} toward better, "
        f"90{NBSP}% between {lo} and {hi} ({basis})."
    )


def week_sentence(
    minutes: float, untimed: int, first: date, last: date, limit: float | None, *, staff: bool = True
) -> str:
    """Timed practice of a week against the academy's limit for young players.

    `untimed`: days of it with practice without minutes; they may put it over the limit, so they are said.
    """
    said = f"{number(minutes, 'minutes')} of timed home practice from {on(first)} to {on(last)}"
    more = f", and practice on {count(untimed, 'day')} not timed" if untimed else ""
    if limit is None:
        where = ": young_practice_minutes_a_week in academy.toml" if staff else "; ask your coach"
        return f"{said}{more}. The academy has set no limit yet{where}."
    place = "over" if minutes > limit else "within"
    doubt = ", so it may be over" if untimed and minutes <= limit else ""
    return f"{said}, {place} the academy's limit of {number(limit, 'minutes')} a week{more}{doubt}."


def left_out(counts: Mapping[str, Any], flags: Sequence[tuple[str, int]]) -> str | None:
    """How many swings stay out of a season's answers and what marks the others; None when there is nothing.

    `counts` and (flag, swings) as `queries.sessions.left_out` gives them.
    """
    if not counts["out"] and not flags:
        return None
    why = [f"{FLAGS.get(flag, flag.replace('_', ' '))} ({n})" for flag, n in flags]
    return (
        f"Of {count(counts['swings'], 'swing')} of this season, {counts['out']} stay out of its answers. "
        f"Marked, with how many swings: {listed(why)}."
    )
