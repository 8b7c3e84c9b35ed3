"""Balance, what was seen by eye, and what was felt, in words and tables for the pages that show them.

Each function gives nothing where nothing was noted or measured of it.
"""

from datetime import date
from typing import Any

import polars as pl

from dashboard.queries import observed
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import DIRECTIONS, LABELS, SENSES, marked
from dashboard.text.numbers import capitalized, count, listed, number, on, share
from warehouse.access import Reader
from warehouse.observations import feelings
from warehouse.vocabulary import BETTER, STEADY_STANDS, TOO_FEW, WORSE

EYES = Words({"open": "open", "closed": "closed"})
PROTOCOL = ("forward", "back", "toward", "away")
LATEST = 3  # checks that a sentence about the latest looks back on
METRICS = {"lead": "address_lead_along_pct", "trail": "address_trail_along_pct"}


def nudge_sentences(reader: Reader, student: str) -> tuple[str, ...]:
    """The last nudge check, and what was lost in the last three with eyes closed."""
    checks = observed.nudge_checks(reader, student).to_dicts()
    if not checks:
        return ()
    last = checks[0]
    said = _("Nudge check of {day}, eyes {eyes}{announced}: {found}.").format(
        day=on(last["day"]),
        eyes=EYES[last["eyes"]],
        announced=_(", said beforehand") if last["announced"] else "",
        found=nudge_words(last["held"] or [], last["lost"] or []),
    )
    closed = [check for check in checks if check["eyes"] == "closed"][:LATEST]
    if len(closed) < LATEST:
        return (said,)
    often = [
        _("{way} in {n}").format(way=DIRECTIONS[way], n=n)
        for way in DIRECTIONS
        if (n := sum(way in (check["lost"] or []) for check in closed))
    ]
    lately = (
        _("Of the last {n} checks with eyes closed, balance was lost {ways}.").format(
            n=LATEST, ways=listed(often)
        )
        if often
        else _("In the last {n} checks with eyes closed, balance was held every time.").format(n=LATEST)
    )
    return (said, lately)


def nudge_words(held: list[str], lost: list[str]) -> str:
    """What became of a nudge check: lost backward; held forward."""
    said = ((lost, _("lost {ways}")), (held, _("held {ways}")))
    return "; ".join(text.format(ways=_ways(ways)) for ways, text in said if ways)


def _ways(directions: list[str]) -> str:
    if set(PROTOCOL) <= set(directions):
        return _("in every direction")
    return listed([DIRECTIONS[way] for way in DIRECTIONS if way in directions])


def nudge_table(reader: Reader, student: str) -> pl.DataFrame | None:
    """Every nudge check, newest first, a column a direction."""
    checks = observed.nudge_checks(reader, student).to_dicts()
    if not checks:
        return None
    ways = [way for way in DIRECTIONS if way in PROTOCOL or any(_result(check, way) for check in checks)]
    return pl.DataFrame(
        [
            {_("Day"): check["day"], _("Eyes"): EYES[check["eyes"]]}
            | {capitalized(DIRECTIONS[way]): _result(check, way) or "–" for way in ways}
            | {_("Announced"): yes_no(check["announced"]), _("Spotter"): check["stood_by"] or "–"}
            for check in checks
        ]
    )


def _result(check: dict[str, Any], way: str) -> str:
    return _("lost") if way in (check["lost"] or []) else _("held") if way in (check["held"] or []) else ""


def yes_no(value: bool | None) -> str:  # noqa: FBT001 - the answer itself
    """Yes, no, or a dash where it is not known."""
    return "–" if value is None else _("yes") if value else _("no")


def setup_sentences(reader: Reader, student: str) -> tuple[str, ...]:
    """The student's own set-up target from steady stands, or what is still wanted for one."""
    stands = observed.stands(reader, student, rocking=True)
    if stands.is_empty():
        return ()
    targets = observed.setup_targets(reader, student)
    steady = len(stands.drop_nulls(["lead_along_pct", "trail_along_pct"]))
    if not set(targets) >= set(METRICS.values()):
        if steady < STEADY_STANDS:
            few = _(
                "Rocking to find the steady place: {stands} so far; from {least} on it is the own set-up "
                "target."
            )
            return (few.format(stands=count(steady, "steady_stand"), least=STEADY_STANDS),)
        apart = _(
            "Rocking to find the steady place: {stands}, too far apart for a set-up target of their own."
        )
        return (apart.format(stands=count(steady, "steady_stand")),)
    lead, trail = (targets[METRICS[foot]] for foot in ("lead", "trail"))
    said = _(
        "Own set-up target from {stands}, since {day}: pressure at {lead} of the lead foot from the heel "
        "({lead_doubt}) and {trail} of the trail foot ({trail_doubt})."
    ).format(
        stands=count(lead["n_stands"], "steady_stand"), day=on(lead["from"]), lead=_pct(lead["median_pct"]),
        lead_doubt=_doubt(lead), trail=_pct(trail["median_pct"]), trail_doubt=_doubt(trail),
    )  # fmt: skip
    if lead["in_force"] and trail["in_force"]:
        stead = _("The target is {lead} and {trail} for this student, in place of the academy's own.")
        ends = {foot: _span(targets[metric]) for foot, metric in METRICS.items()}
        return (said, stead.format(**ends))
    return (said, _("A target agreed with the coach goes before it."))


def own_band_sentence(reader: Reader, student: str, metric: str) -> str:
    """Says that the band shown for a measure comes from the student's own steady stands; empty where not."""
    target = observed.setup_targets(reader, student).get(metric)
    if target is None or not target["in_force"]:
        return ""
    return _("The target is this student's own, from where they stand most steadily.")


def _pct(value: float) -> str:
    return number(value, "%")


def _doubt(target: dict[str, Any]) -> str:
    return _("90 % sure: {lo} to {hi}").format(lo=number(target["lo_pct"]), hi=_pct(target["hi_pct"]))


def _span(target: dict[str, Any]) -> str:
    return _("{lo} to {hi}").format(lo=number(target["band_lo"]), hi=_pct(target["band_hi"]))


def stand_sentences(reader: Reader, student: str) -> tuple[str, ...]:
    """The last day's quiet stands on the plates: how fast the pressure wandered."""
    stands = observed.stands(reader, student, rocking=False).drop_nulls("speed_mm_s")
    if stands.is_empty():
        return ()
    day: date = stands["day"][0]
    speeds = stands.filter(day=day).group_by("eyes", maintain_order=True).agg(pl.col("speed_mm_s").mean())
    said = [
        _("{speed} with eyes {eyes}").format(speed=number(speed, "mm/s"), eyes=EYES[eyes])
        for eyes, speed in speeds.sort("eyes", descending=True).iter_rows()
    ]
    return (
        _("Standing still on {day}, the pressure wandered at {speeds}.").format(
            day=on(day), speeds=listed(said)
        ),
    )


def stand_table(reader: Reader, student: str) -> pl.DataFrame | None:
    """Every quiet stand on the plates, newest first."""
    stands = observed.stands(reader, student, rocking=False)
    if stands.is_empty():
        return None
    return pl.DataFrame(
        [
            {
                _("Day"): row["day"], _("Device"): row["device"], _("Eyes"): EYES[row["eyes"]],
                _("Lasted"): number(row["seconds"], "s"), _("Speed"): number(row["speed_mm_s"], "mm/s", 1),
                _("Area"): number(row["ellipse_mm2"], "mm²"),
            }
            for row in stands.iter_rows(named=True)
        ]
    )  # fmt: skip


def eye_table(chosen: StudentSeason) -> pl.DataFrame | None:
    """What coaches saw by eye in the season: faults, and signs that no plate measures."""
    rows = observed.eye_rates(chosen.reader, chosen.student, chosen.season)
    if rows.is_empty():
        return None
    return pl.DataFrame(
        [
            {
                _("Seen by eye"): _(row["name"]), _("What it is"): SENSES[row["sense"]],
                _("Lately"): _visits(row["seen"], row["looked"], row["rate_lo"], row["rate_hi"]),
                _("Before"): _visits(row["seen_before"], row["looked_before"]),
                _("Last seen"): row["last_seen"],
            }
            for row in rows.iter_rows(named=True)
        ]
    )  # fmt: skip


def eye_sentences(chosen: StudentSeason) -> tuple[str, ...]:
    """The signs seen lately that no plate measures, each with how often."""
    rows = observed.eye_rates(chosen.reader, chosen.student, chosen.season)
    seen = [
        _("{sign} ({sense}), {visits}").format(
            sign=_(row["name"]), sense=SENSES[row["sense"]], visits=_visits(row["seen"], row["looked"])
        )
        for row in rows.iter_rows(named=True)
        if row["seen"] and row["is_sign"]
    ]
    return (_("By eye lately: {signs}.").format(signs="; ".join(seen)),) if seen else ()


def _visits(seen: int | None, looked: int | None, lo: float | None = None, hi: float | None = None) -> str:
    """In how many visits something was seen, of those that looked for it, with its interval where given."""
    if not looked:
        return "–"
    said = _("in {seen} of {visits}").format(seen=seen, visits=count(looked, "visit"))
    return said if lo is None else f"{said} ({_interval(lo, hi)})"


def _interval(lo: float, hi: float | None) -> str:
    """Where the true share lies nine times in ten: 20–60 %."""
    return f"{number(100 * lo)}–{share(hi)}"


def felt_sentences(chosen: StudentSeason) -> tuple[str, ...]:
    """For each feeling how often it agreed with the plates lately, and whether more often than before."""
    words = _questions()
    rows = observed.felt_agreement(chosen.reader, chosen.student, chosen.season)
    last = {
        row["feeling"]: row
        for row in observed.last_felt(chosen.reader, chosen.student, chosen.season).to_dicts()
    }
    text = []
    for row in rows.filter(span="now").iter_rows(named=True):
        said = _("{feeling}: agreed with the plates {agreed} of {n} times lately ({interval}).").format(
            feeling=words.get(row["feeling"], row["feeling"]), agreed=row["agreed"], n=row["n"],
            interval=_interval(row["rate_lo"], row["rate_hi"]),
        )  # fmt: skip
        more = _("Against before: {change}.").format(change=_change(row["label"]))
        change = "" if row["label"] == TOO_FEW else f" {more}"
        text.append(said + change + _last_time(last.get(row["feeling"])))
    return tuple(text)


def _questions() -> dict[str, str]:
    return {feeling.code: _(feeling.question) for feeling in feelings()}


def _change(label: str) -> str:
    if label == TOO_FEW:
        return _("Too few notes")
    return marked(label) if label in {BETTER, WORSE} else LABELS[label]


def _last_time(row: dict[str, Any] | None) -> str:
    if row is None or row["measured"] is None:
        return ""
    said = _("Last on {day}: felt {felt}, measured {measured} (in {clean} of {swings}).").format(
        day=on(row["day"]), felt=yes_no(row["felt"]), measured=yes_no(row["measured"]),
        clean=row["judged"] - row["against"], swings=count(row["judged"], "swing"),
    )  # fmt: skip
    return f" {said}"


def felt_table(chosen: StudentSeason) -> pl.DataFrame | None:
    """Agreement of each feeling with the plates: lately, before, and which way they differed."""
    words = _questions()
    rows = observed.felt_agreement(chosen.reader, chosen.student, chosen.season).to_dicts()
    spans = {(row["feeling"], row["span"]): row for row in rows}
    if not rows:
        return None
    return pl.DataFrame(
        [
            {
                _("Felt"): words.get(code, code),
                _("Agreed lately"): _agreed(spans.get((code, "now"))),
                _("Before"): _agreed(spans.get((code, "before"))),
                _("Felt, not measured"): row["felt_only"], _("Measured, not felt"): row["measured_only"],
                _("Change"): _change(row["label"]),
            }
            for (code, span), row in spans.items()
            if span == "season"
        ]
    )  # fmt: skip


def _agreed(row: dict[str, Any] | None) -> str:
    if row is None:
        return "–"
    return _("{agreed} of {n} ({interval})").format(
        agreed=row["agreed"], n=row["n"], interval=_interval(row["rate_lo"], row["rate_hi"])
    )
