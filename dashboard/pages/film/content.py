"""A film marked by eye: what the form is made of, and how what was marked becomes a session's delivery."""

import base64
import csv
import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path
from typing import Any

from dashboard import family, inbox
from dashboard.queries import by_eye, people
from dashboard.text.catalogue import _, mark
from dashboard.text.cautions import CAMERA
from dashboard.text.labels import EVENTS as EVENT_NAMES
from dashboard.text.numbers import on
from warehouse import family as from_families
from warehouse import toml
from warehouse.access import Reader
from warehouse.errors import CallError, UnderfootError
from warehouse.family import SentFilm
from warehouse.vocabulary import EVENTS, FEET, HEELS, PACES, POINTS, SHOE_OVER_FOOT_MM, VIEWS

STILL_DOWN = "trail_heel_down"
MOST_REASON = 300
DECIDED = mark("This film is no longer waiting: somebody has already decided on it.")
LONGEST_S = 600.0  # of a film's time; a swing takes two seconds
RATES, SHOES_MM = (10, 1000), (120, 450)
MARK_TWO = mark("Mark at least two moments, and at least one heel: as up or down, or by tapping it.")
TAP_FOUR = mark("Tap both heels and both toes at address; heights are measured from there.")


def withheld(reader: Reader, student: str) -> str:
    """Why no film of this student may be marked; empty where one may."""
    if people.may_film(reader, student):
        return ""
    return _(
        "No consent to film this student holds today, so no film of theirs is marked here. It needs a line "
        "with film in consents.csv."
    )


def waiting_films(reader: Reader, student: str) -> list[SentFilm]:
    """The films that a student's family sent and nobody has decided on, oldest first."""
    if not reader.may_write("film_decision", student):
        return []
    found = from_families.films(reader.home, student)
    return [film for film in reversed(found) if film.state == from_families.WAITING]


def film_words(reader: Reader, film: SentFilm) -> str:
    """Who sent a waiting film, when, and of what."""
    names = dict(reader.sql("SELECT person, display_name FROM person").iter_rows())
    sender = names.get(film.sent_by, film.sent_by)
    by = _("by the link to the page of {name}").format(name=sender) if film.link else sender
    return _("{club}, filmed {day}; sent {sent} ({by}).").format(
        club=film.club, day=on(date.fromisoformat(film.day)), sent=on(family.sent_on(reader, film)), by=by
    )


def decline(reader: Reader, student: str, film: str, reason: str) -> None:
    """Decline a film that waits, with the reason that the family reads; the film is removed.

    Raises
        AccessError: the viewer may not decide on this student's films, or not any more.
        CallError: there is no reason, it is too long, or the film is no longer waiting.
    """
    now = reader.to_write("film_decision", student)
    words = " ".join(reason.split())
    if not words:
        raise CallError(_("Say why in a few words; the family reads them."))
    if len(words) > MOST_REASON:
        raise CallError(_("The reason is too long; say it in {most} letters.").format(most=MOST_REASON))
    _decide(now, _waiting(now, student, film), from_families.DECLINED, reason=words)


def _waiting(reader: Reader, student: str, film: str) -> SentFilm:
    """A waiting film by its name."""
    found = next((one for one in waiting_films(reader, student) if one.film == film), None)
    if found is None:
        raise CallError(_(DECIDED))
    return found


def _decide(reader: Reader, film: SentFilm, state: str, **why: str) -> None:
    if not from_families.decide(reader.home, film, state, reader.viewer.person, **why):
        raise CallError(_(DECIDED))
    reader.wrote("film_decision", film.student)


def form_data(
    reader: Reader, student: str, outcome: dict[str, Any] | None, film: SentFilm | None = None
) -> dict[str, Any]:
    """What the marker in the browser is made of.

    `outcome`: what became of what was saved last; `film`: one that the family sent, which it opens with.
    """
    sent = None
    if film is not None:
        data = from_families.film_path(reader.home, film).read_bytes()
        kind = "video/webm" if film.file.endswith(".webm") else "video/mp4"
        sent = {
            "film": film.film, "data": base64.b64encode(data).decode(), "kind": kind, "club": film.club,
            "day": film.day,
        }  # fmt: skip
    return {
        "sent": sent,
        "student": student,
        "moments": [(code, EVENT_NAMES[code]) for code in EVENTS],
        "foot_mm": reader.sql("SELECT foot_length_mm FROM person WHERE person = ?", [student]).item(),
        "shoe_over_foot_mm": SHOE_OVER_FOOT_MM,
        "rates": RATES,
        "shoes_mm": SHOES_MM,
        "few": _(MARK_TWO),
        "four": _(TAP_FOUR),
        "clubs": by_eye.known_clubs(reader, student),
        "camera": [_(text) for text in CAMERA],
        "outcome": outcome,
    }


def outcome(reader: Reader, student: str, marked: Mapping[str, Any]) -> dict[str, Any]:
    """Keep what was marked, and what the page then says."""
    try:
        keep(reader, student, marked)
    except (UnderfootError, OSError) as error:
        text = _("Not saved. {error}").format(error=error)
    else:
        text = _("Saved. It shows on the student's page once it is loaded.")
    return {"id": str(marked.get("id")), "text": text}


def keep(reader: Reader, student: str, marked: Mapping[str, Any]) -> Path:
    """Deliver a marked film as a session of one swing in the inbox, flushed to disk; returns its folder.

    The delivery has session.toml, events.csv with each heel that was looked at, clip.csv with the heels and
    toes that were tapped and, where the trail heel was still down at impact of a full swing and the viewer
    says so, notes.csv with that fault. It has no film.

    Raises
        AccessError: the viewer may not see the student.
        CallError: no consent to film holds, what was marked can't be meant, or the family's film that was
            marked is no longer waiting.
        OSError: the disk did not take it.
    """
    reader = inbox.in_reach(reader, student)
    sent = _waiting(reader, student, str(marked["film"])) if marked.get("film") else None
    if missing := withheld(reader, student):
        raise CallError(missing)
    moments = _moments(marked.get("moments"))
    club, pace = marked.get("club"), marked.get("pace")
    if club not in by_eye.known_clubs(reader, student) or pace not in PACES:
        raise CallError(_("The club or the pace is not one of those offered; choose them again."))
    at = _filmed_at(marked)
    tag = hashlib.sha256(json.dumps(moments).encode()).hexdigest()[:4]
    session = f"{at:%Y-%m-%d}-{student[:40]}-film-{at:%H%M}-{tag}"
    coach = reader.viewer.person
    head = {"session": session, "student": student, "coach": coach, "started_at": at.replace(microsecond=0)}
    points = _points(marked, moments)
    lines = [*toml.lines(head), *(_filmed_how(marked) if points else ())]
    lines += ["", "[[swing]]", *toml.lines({"no": 1, "pace": pace, "club": club}), ""]
    files = {"session.toml": "\n".join(lines), "events.csv": _table(moments)}
    if points:
        files["clip.csv"] = _table(points)
    down = any(row["event"] == "impact" and row["trail_heel"] == "down" for row in moments)
    if down and pace == "full" and marked.get("fault") is True:
        now = datetime.now(UTC).isoformat(timespec="seconds")
        line = {"at": now, "author": coach, "kind": "saw", "swing_no": 1, "code": STILL_DOWN, "grade": 2,
                "shared": "false"}  # fmt: skip
        files["notes.csv"] = _table([line])
    put = [(f"{session}/{name}", body.encode()) for name, body in files.items()]
    kept = inbox.deliver(reader, put)
    if sent is not None:
        _decide(reader, sent, from_families.ACCEPTED, session=session)
    return kept


def _moments(given: Any) -> list[dict[str, Any]]:
    """Rows of events.csv: the moments in their order, each heel up, down or not looked at."""
    found: dict[str, dict[str, Any]] = {}
    for moment in given if isinstance(given, list) else []:
        if not isinstance(moment, Mapping) or moment.get("event") not in EVENTS:
            continue
        t_s = moment.get("t_s")
        if not isinstance(t_s, int | float) or not 0 <= t_s <= LONGEST_S:
            continue
        heels = {f"{foot}_heel": heel if (heel := moment.get(foot)) in HEELS else "" for foot in FEET}
        where = {"swing_no": 1, "event": moment["event"], "t_s": round(float(t_s), 4), "clock": "clip"}
        found[moment["event"]] = where | heels
    rows = [found[event] for event in EVENTS if event in found]
    looked = any(row[f"{foot}_heel"] for row in rows for foot in FEET)
    if len(rows) < 2 or not (looked or any(_tapped(moment) for moment in given)):
        raise CallError(_(MARK_TWO))
    for before, after in pairwise(rows):
        if after["t_s"] <= before["t_s"]:
            raise CallError(
                _("{after} is marked before {before}; mark the two moments again.").format(
                    after=EVENT_NAMES[after["event"]], before=EVENT_NAMES[before["event"]]
                )
            )
    return rows


def _tapped(moment: Any) -> dict[str, tuple[float, float]]:
    """Point → where it was tapped in a moment's picture, px of the film."""
    given = moment.get("points") if isinstance(moment, Mapping) else None
    if not isinstance(given, Mapping):
        return {}
    found = {}
    for point in POINTS:
        match given.get(point):
            case [int() | float() as x, int() | float() as y] if 0 <= x <= 20_000 and 0 <= y <= 20_000:
                found[point] = (float(x), float(y))
    return found


def _points(marked: Mapping[str, Any], moments: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows of clip.csv: the points that were tapped, each at its moment's picture."""
    tapped = {m["event"]: found for m in marked["moments"] if (found := _tapped(m))}
    if not tapped:
        return []
    if set(tapped.get("address", ())) != set(POINTS):
        raise CallError(_(TAP_FOUR))
    rate, shoe = marked.get("rate"), marked.get("shoe_mm")
    if not (isinstance(rate, int | float) and RATES[0] <= rate <= RATES[1]):
        raise CallError(
            _("Pictures per second must be between {least} and {most}.").format(least=RATES[0], most=RATES[1])
        )
    if shoe is not None and not (isinstance(shoe, int | float) and SHOES_MM[0] <= shoe <= SHOES_MM[1]):
        raise CallError(
            _("A shoe is between {least} and {most} mm long; correct its length, or leave it out.").format(
                least=SHOES_MM[0], most=SHOES_MM[1]
            )
        )
    if marked.get("view") not in VIEWS:
        raise CallError(_("Say where the film was taken from."))
    return [
        {
            "swing_no": 1,
            "frame": round(moment["t_s"] * rate),
            "point": point,
            "x_px": round(x, 1),
            "y_px": round(y, 1),
        }
        for moment in moments
        for point, (x, y) in tapped.get(moment["event"], {}).items()
    ]


def _filmed_how(marked: Mapping[str, Any]) -> list[str]:
    """What session.toml says of a film whose points were tapped."""
    checked = ["feet_checked = true"] if marked.get("feet_checked") is True else []
    clip = {"fps": marked["rate"], "view": marked["view"], "shoe_length_mm": marked.get("shoe_mm") or None}
    return [*checked, "", "[clip]", *toml.lines(clip)]


def _table(rows: Sequence[Mapping[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _filmed_at(marked: Mapping[str, Any]) -> datetime:
    """When it was filmed, by the form, in the device's own time zone."""
    offset = marked.get("offset")
    minutes = offset if isinstance(offset, int) and abs(offset) <= 14 * 60 else 0
    try:
        at = datetime.fromisoformat(str(marked.get("at"))).replace(
            tzinfo=timezone(timedelta(minutes=minutes))
        )
    except ValueError:
        raise CallError(_("Fill in the day and time of filming.")) from None
    if at <= datetime(2000, 1, 1, tzinfo=UTC) or inbox.lies_ahead(at):
        raise CallError(_("The time of filming is in the future, or too far back; correct it."))
    return at
