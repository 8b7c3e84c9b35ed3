"""What the Deliveries page says: what is on its way, what loaded, what was refused, what is left out."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from dashboard import inbox
from dashboard.pages.deliveries import corrections, whose
from dashboard.queries import academy
from dashboard.section import nonempty
from dashboard.text.catalogue import Words, _, ngettext
from dashboard.text.labels import FLAGS
from dashboard.text.markdown import markdown
from dashboard.text.numbers import count, listed, number, on
from warehouse import family
from warehouse.access import Reader
from warehouse.home import Home

KINDS = Words(
    {
        "session": "Session",
        "roster": "Roster",
        "notes": "Notes",
        "shots": "Ball results",
        "calendar": "Calendar",
    }
)
OUTCOMES = Words({"accepted": "loaded", "replaced": "replaced an earlier one"})
SENTENCES_SHOWN = 5
GROUPS_SHOWN = 40
NAMED = 5  # files named one by one
_SESSION_LINE = re.compile(rb"^\s*session\s*=\s*[\"'](?P<name>[^\"']+)[\"']", re.MULTILINE)


@dataclass(frozen=True)
class Dropped:
    """A delivery dropped in this visit: its files or folders, what it is called, and when (UTC)."""

    names: tuple[str, ...]
    what: str
    at: datetime


@dataclass(frozen=True)
class OnItsWay:
    """How far what waits and what was dropped has come: a share (0–1) and sentences."""

    share: float
    progress: str
    outcomes: tuple[str, ...]
    waiting: str


@dataclass(frozen=True)
class Refused:
    """One refused delivery, and its kept files; `no_fix` says why they can't be corrected here."""

    session: str
    delivery: str
    what: str
    heading: str
    sentences: tuple[str, ...]
    kept: dict[str, Path]
    no_fix: str
    may_be_dropped: bool = False


def names_of(names: Sequence[str]) -> str:
    """The first few of these names."""
    return listed(sorted(names)[:NAMED])


def loose_files(reader: Reader) -> str:
    """What may be dropped besides a session folder; the roster from a head coach alone."""
    if reader.viewer.role == "head_coach":
        return _("Or files: an archive (zip), rosters, notes, ball results")
    return _("Or files: an archive (zip), notes, ball results")


def deliver(reader: Reader, files: Sequence[tuple[str, bytes]], *, corrects: bool) -> Path:
    """Deliver what was dropped; `corrects`: in place of the filed sessions that its session.toml files name.

    Raises
        AccessError, CallError, OSError: as of `inbox.deliver`.
    """
    named = [
        found["name"].decode("utf-8", "replace")
        for name, data in files
        if name.replace("\\", "/").rsplit("/", 1)[-1] == "session.toml"
        and (found := _SESSION_LINE.search(data))
    ]
    known = reader.sql("SELECT DISTINCT delivery FROM session WHERE list_contains(?, session)", [named])
    return inbox.deliver(reader, files, corrects=known["delivery"].to_list() if corrects else ())


def waiting(home: Home) -> list[str]:
    """Names of what lies in the inbox."""
    try:
        entries = sorted(home.inbox.iterdir())
    except OSError:
        return []
    return [entry.name for entry in entries if not entry.name.startswith(".")]


def on_its_way(reader: Reader, home: Home, dropped: dict[str, Dropped]) -> OnItsWay | None:
    """What waits in the inbox, and what became of what was dropped in this visit; None without either."""
    entries = waiting(home)
    if not entries and not dropped:
        return None
    gone = [drop for name, drop in dropped.items() if name not in entries]
    done, total = len(gone), len(gone) + len(entries)
    progress = _("{done} of {deliveries} through the loader").format(
        done=done, deliveries=count(total, "delivery")
    )
    text = _(
        "{deliveries} in the inbox. The loader beside these pages takes each within seconds of its last "
        "change; without it, run: underfoot load"
    ).format(deliveries=count(len(entries), "delivery_waits"))
    outcomes = tuple(_outcome(reader, drop) for drop in gone)
    return OnItsWay(done / total, progress, outcomes, text if entries else "")


def _outcome(reader: Reader, drop: Dropped) -> str:
    """What became of a dropped delivery: refused ones are named, the rest loaded or was there already."""
    named = pl.col("name").is_in(drop.names) | pl.col("file").is_in(drop.names)
    refused = academy.refusals(reader).filter(pl.col("at") >= drop.at, named)
    if refused.is_empty():
        text = _("gone through. What loaded is listed below; what was there already changes nothing.")
    elif refused["swing_no"].null_count():
        text = _("refused. How to fix it is below.")
    else:
        text = _("loaded, with swings refused. How to fix it is below.")
    return markdown("**{names}**: {text}", names=names_of(drop.names), text=text)


def films_sent(reader: Reader) -> list[tuple[str, str]]:
    """Students of whom the family sent films that wait for a coach, and a sentence on how many."""
    found = []
    for student, name in sorted(reader.sql("SELECT person, display_name FROM person").iter_rows()):
        if not reader.may_write("film_decision", student):
            continue
        n = sum(film.state == family.WAITING for film in family.films(reader.home, student))
        if n:
            said = _("{films} of {name}, sent by the family →").format(films=count(n, "film"), name=name)
            found.append((student, said))
    return found


def swapped_feet(reader: Reader) -> list[str]:
    """One question for each session whose feet may be swapped."""
    tapped = _(
        "**{student}, {day}** (session {session}): the points tapped on the film put the lead foot where "
        "the trail foot should be. It stays out of every season answer. Mark the film again: if the feet "
        "were swapped, the other way round; if the film is mirrored, with the feet ticked as right."
    )
    text = _(
        "**{student}, {day}** (session {session}, {swings}): the trail foot seems to carry the finish; lead "
        "share there {share}. These swings stay out of every season answer. If the feet were swapped, "
        "correct the columns or the student's hand and deliver the session again. If it is right, add "
        "feet_checked = true to its session.toml and deliver it again."
    )
    return [
        markdown(
            text if row["on_plate"] else tapped,
            student=row["student"],
            day=on(row["day"]),
            session=row["session"],
            swings=count(row["swings"], "swing"),
            share=number(row["finish_lead_share_pct"], "%"),
        )
        for row in academy.swapped_feet(reader).iter_rows(named=True)
    ]


def refused(reader: Reader, home: Home) -> tuple[list[Refused], str]:
    """The newest refused deliveries but those that wait for their owner, and a sentence on older ones."""
    asked = [one.delivery for one in whose.waiting(reader)]
    listed = academy.refusals(reader).filter(~pl.col("delivery").is_in(asked).fill_null(value=False))
    found = nonempty(listed, _("Nothing has been refused."))
    groups = found.partition_by(["name", "session"], maintain_order=True)
    older = len(groups) - GROUPS_SHOWN
    text = ngettext("{n} older one is listed by: {command}", "{n} older ones are listed by: {command}", older)
    return (
        [_refused(group, reader, home) for group in groups[:GROUPS_SHOWN]],
        text.format(n=older, command="underfoot refused") if older > 0 else "",
    )


def _refused(group: pl.DataFrame, reader: Reader, home: Home) -> Refused:
    first = group.row(0, named=True)
    day = group["at"].dt.replace_time_zone("UTC").dt.convert_time_zone(reader.settings.time_zone)[0].date()
    what = first["name"] or first["session"] or first["file"] or _("A delivery")
    whole = _("whole delivery") if first["swing_no"] is None else count(len(group), "swing")
    sentences = group["sentence"].unique(maintain_order=True).to_list()
    more = len(sentences) - SENTENCES_SHOWN
    delivery = first["delivery"] or ""
    kept = corrections.kept_files(home, delivery) if delivery else {}
    no_fix = ""
    if not kept:
        no_fix = _("Its files are not kept here; deliver them again above.")
    elif reader.viewer.role != "head_coach" and any(map(inbox.is_roster, kept)):
        # The roster's files hold everyone's birth dates and roles.
        no_fix = _("This is a roster file: only a head coach can fix it.")
    if more > 0:
        sentences[SENTENCES_SHOWN:] = [_("and {n} more from this delivery").format(n=more)]
    about = [*filter(None, [first["student"]]), whole, on(day)]
    heading = markdown("**{what}** · {about}", what=what, about=" · ".join(about))
    ends = reader.viewer.role == "head_coach" and bool(corrections.refused_folder(home, delivery))
    return Refused(first["session"] or "", delivery, what, heading, tuple(sentences), kept, no_fix, ends)


def loaded(reader: Reader) -> pl.DataFrame:
    """The latest deliveries that loaded."""
    received = (
        pl.col("received_at").dt.replace_time_zone("UTC").dt.convert_time_zone(reader.settings.time_zone)
    )
    none = _("Nothing has loaded yet. Drop a delivery above, or put it in the inbox and run: underfoot load")
    return nonempty(academy.deliveries(reader), none).select(
        received.dt.strftime("%Y-%m-%d %H:%M").alias(_("Received")), pl.col("name").alias(_("Delivery")),
        pl.col("kind").replace(dict(KINDS)).alias(_("What")), pl.col("student").alias(_("Student")),
        pl.col("day").alias(_("Session day")), pl.col("n_files").alias(_("Files")),
        pl.col("outcome").replace(dict(OUTCOMES)).alias(_("Outcome")),
    )  # fmt: skip


def left_out(reader: Reader) -> tuple[pl.DataFrame, str]:
    """Swings left out or marked, by session and reason, and a sentence on how many there are."""
    total, unusable = academy.swing_counts(reader)
    rows = academy.swings_left_out(reader).select(
        pl.col("day").alias(_("Day")), pl.col("student").alias(_("Student")),
        pl.col("session").alias(_("Session")), pl.col("flag").replace(dict(FLAGS)).alias(_("Why")),
        pl.col("swings").alias(_("Swings")), pl.col("unusable").alias(_("Left out")),
    )  # fmt: skip
    none = _("None of {swings} is left out or marked.") if total else _("There are no swings yet.")
    text = _(
        "Of {swings}, {unusable} gave no measure at all. Others loaded with a mark that makes them less "
        "sure; swings whose feet may be swapped stay out of the season too."
    )
    counts = {"swings": count(total, "swing"), "unusable": count(unusable, "swing")}
    return nonempty(rows, none.format(**counts)), text.format(**counts)
