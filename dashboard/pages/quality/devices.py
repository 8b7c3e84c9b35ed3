"""What checks with a known weight show: how far off each device reads, since when, and what to do."""

from datetime import UTC, date, datetime
from typing import Any

import polars as pl

from dashboard.queries import academy
from dashboard.section import Section, nonempty
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.numbers import count, joined, listed, number, on, short_day
from warehouse.access import Reader
from warehouse.vocabulary import DRIFTS, JUMPED, OFF, STEADY, TOLERANCE_PCT, TOO_SOON

VERDICTS = Words(
    {
        DRIFTS: "Drifts",
        JUMPED: "Jumped",
        OFF: "Off by over 1 %",
        STEADY: "Within 1 %",
        TOO_SOON: "Too soon to say",
    }
)
FOUND = (DRIFTS, JUMPED, OFF)
SIDES = Words({"whole": "whole", "left": "left half", "right": "right half"})
NEVER_CHECKED = mark(
    "No device has been checked with a known weight yet. Once a week, put one on the device, on each half if "
    "it has two, and deliver what it reads as device_checks.csv."
)
NOTES = (
    mark(
        "What this does to results: a device that reads everything too heavy by the same factor still gives "
        "correct shares, and correct loads in % of body weight wherever it weighed the player in the same "
        "swing's quiet stance; elsewhere loads are off by as much as the device. Where its halves differ, "
        "the front foot's share is off by up to a quarter of the difference, in points."
    ),
    mark(
        "What to do: zero or calibrate the device as its manual says, check it again with the weight, and "
        "write yes under recalibrated in that line of device_checks.csv; from then on only that check and "
        "later ones count. No result is corrected by these figures."
    ),
    mark(
        "How sure this is: in 5 of 100 years of weekly checks, a steady device is called off or drifting at "
        "some point, more often if one week's error is like the week before's. Where single checks scatter "
        "by 0.5 %, a drift of 1 % a month is found within 12 weeks in 8 of 10 cases, one of 0.25 % within "
        "26. Nothing is said before there are six checks over four weeks. Intervals contain the true figure "
        "in 95 of 100 cases; for a device that drifts or has jumped, only once that has been found, as its "
        "older checks count as much as the new ones until then. A jump is called a drift until the checks "
        "since tell the two apart."
    ),
)


def accuracy(reader: Reader) -> tuple[Section, Section]:
    """A sentence for each device that is off, drifts or jumped, and a table of every checked device."""
    rows = nonempty(academy.device_accuracy(reader), _(NEVER_CHECKED))
    never = academy.unchecked_devices(reader)
    unchecked = _("Never checked with a known weight: {devices}.").format(devices=listed(never))
    halves = _differing_halves(rows)
    said = [_said(row, reader) for row in rows.iter_rows(named=True) if row["verdict"] in FOUND]
    notes = (unchecked if never else "", *map(_, NOTES))
    return Section(sentences=(*said, *halves)), Section(
        table=(_table(rows, reader), _("devices")), notes=notes
    )


def to_fix(reader: Reader) -> tuple[str, ...]:
    """A sentence for the head coach on each device that now reads over 1 % off."""
    owner = listed(academy.head_coaches(reader))
    return tuple(
        _("{owner}: {device} reads {error}; calibrate it.").format(
            owner=owner, device=_device(row), error=_error(row["error_pct"])
        )
        for row in academy.device_accuracy(reader).iter_rows(named=True)
        if row["verdict"] in FOUND and abs(row["error_pct"]) > TOLERANCE_PCT
    )


def _device(row: dict[str, Any]) -> str:
    if row["side"] == "whole":
        return str(row["device"])
    return _("{device} ({side})").format(device=row["device"], side=SIDES[row["side"]])


def _error(error: float) -> str:
    size = number(abs(error), "%", 1)
    return (_("{size} too heavy") if error > 0 else _("{size} too light")).format(size=size)


def _span(low: float, high: float) -> str:
    return _("{low} to {high}").format(
        low=number(low, "%", 1, signed=True), high=number(high, "%", 1, signed=True)
    )


def _said(row: dict[str, Any], reader: Reader) -> str:
    reads = _("{device} now reads {error} ({span}), from {checks} since {since}; found on {found}.")
    said = reads.format(
        device=_device(row), error=_error(row["error_pct"]), span=_span(row["error_lo"], row["error_hi"]),
        checks=count(row["n_checks"], "check"), since=on(_day(row["since"], reader)),
        found=on(_day(row["found_at"], reader)),
    )  # fmt: skip
    if row["verdict"] == OFF:
        return said
    drifts = _(
        "It has been drifting by {change} a month ({span}) since about {day} ({first} at the earliest, "
        "{last} at the latest)."
    )
    jumped = _(
        "It jumped by {change} ({span}) just before the check of {day} ({first} at the earliest, {last} at "
        "the latest)."
    )
    change, low, high = (
        ("jump_pct", "jump_lo", "jump_hi")
        if row["verdict"] == JUMPED
        else ("drift_pct_month", "drift_lo", "drift_hi")
    )
    changed = (jumped if row["verdict"] == JUMPED else drifts).format(
        change=number(row[change], "%", 1, signed=True), span=_span(row[low], row[high]),
        day=on(_day(row["began"], reader)), first=on(_day(row["began_lo"], reader)),
        last=on(_day(row["began_hi"], reader)),
    )  # fmt: skip
    return joined(said, changed, _leaving(row, reader))


def _leaving(row: dict[str, Any], reader: Reader) -> str:
    """When a drifting device passed 1 %, or will; "" where it is drifting back toward no error."""
    at, beyond = row["leaves_at"], abs(row["error_pct"]) > TOLERANCE_PCT
    if at is None or beyond != (at <= row["last_at"]):
        return ""
    over = _("It has been over 1 % off since about {day}.")
    will = _("It is still within 1 %; if this goes on, it will pass that around {day}.")
    return (over if beyond else will).format(day=on(_day(at, reader)))


def _differing_halves(rows: pl.DataFrame) -> list[str]:
    """For each device with a half that is off, drifts or jumped: how far apart its halves read."""
    said = []
    for (device,), own in rows.group_by("device", maintain_order=True):
        error = dict(own.select("side", "error_pct").iter_rows())
        left, right = error.get("left"), error.get("right")
        if left is None or right is None or not set(own["verdict"]) & set(FOUND):
            continue
        apart = abs(left - right)
        moves = _(
            "The halves of {device} read {apart} apart, which moves the front foot's share by up to {points}."
        )
        said.append(
            moves.format(device=device, apart=number(apart, "%", 1), points=number(apart / 4, "points", 1))
        )
    return said


def _table(rows: pl.DataFrame, reader: Reader) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                _("Device"): row["device"],
                _("Half"): SIDES[row["side"]],
                _("Verdict"): VERDICTS[row["verdict"]],
                _("Off by"): _figure(row, "error"),
                _("Drift a month"): _figure(row, "drift"),
                _("Checks"): row["n_checks"],
                _("Last check"): short_day(_day(row["last_at"], reader)),
            }
            for row in rows.iter_rows(named=True)
        ]
    )


def _figure(row: dict[str, Any], name: str) -> str:
    middle = {"error": "error_pct", "drift": "drift_pct_month"}[name]
    if row[middle] is None:
        return number(None)
    return _("{value} ({span})").format(
        value=number(row[middle], "%", 1, signed=True), span=_span(row[f"{name}_lo"], row[f"{name}_hi"])
    )


def _day(at: datetime, reader: Reader) -> date:
    return at.replace(tzinfo=UTC).astimezone(reader.settings.zone).date()
