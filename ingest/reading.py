"""One session's delivery, read whole: header, samples, clip, events, notes, shots, as rows ready to land."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from ingest.academy import Academy
from ingest.delivery import SHEET, Contents, Delivery
from ingest.formats.format import LineContext, LineFormat, SessionContext, formats, is_known
from ingest.formats.session_toml import read_header
from ingest.plate_rows import SwingSamples, join
from ingest.refusals import DetailedRefusal, escaped, refusal, refuse
from ingest.rights import Right
from ingest.rows import Row, SessionRows, event_row, film_rows, from_lines, hold_row, session_row, swing_row
from ingest.samples import Samples
from ingest.session_file import Event, HoldEntry, SessionHeader
from ingest.swing_events import outside, read_events
from ingest.swing_files import (
    Measured,
    SessionClips,
    clip_files,
    read_clips,
    read_measured,
    sample_files,
)
from warehouse.errors import Refusal, Refused

_MOST_NAMED = 5
SHORTEST_HOLD_S, SHORTEST_ROCKING_S = 10.0, 3.0
MOST_AHEAD = timedelta(days=2)  # clocks and time zones differ by less


class SessionRefused(Refused):
    """A session that is refused, by itself or because every swing of it was refused (`swings`)."""

    def __init__(self, whole: Refusal, header: SessionHeader, swings: Sequence[Refusal] = ()) -> None:
        super().__init__(whole)
        self.header = header
        self.listed = list(swings) or [whole]

    def __reduce__(self) -> tuple[Any, ...]:
        """Deliveries are read in another process."""
        return type(self), (self.refusal, self.header, self.listed)


def read_session(
    contents: Contents,
    delivery: Delivery,
    academy: Academy,
    right: Right | None = None,
    progress: Callable[[str], None] | None = None,
) -> SessionRows:
    """Read a session's delivery, whose bytes are in `contents`; `progress` is called as a film is followed.

    `right` is what its deliverer may deliver, None where nobody delivered it through the pages.

    Raises
        Refused: the session as a whole is refused.
    """
    held = contents.held
    if SHEET not in held:
        what = f"there is {', '.join(delivery.files[:3])} but no session.toml"
        todo = "add one that says who, when and on which device, and deliver again"
        raise refuse("no_session_toml", what, todo)
    header = read_header(held[SHEET], academy)
    try:
        names, filed = delivery.files, delivery.filed
        context = SessionContext(header, academy, delivery.base, names, held, filed, progress)
        if right is not None:
            right.check(header.student, header.coach, session=header.session, file=SHEET)
        return _Session(context, contents.fingerprint, right).read()
    except SessionRefused:
        raise
    except Refused as refused:
        found = refused.refusal
        whole = found.of_session(header.session) if isinstance(found, DetailedRefusal) else found
        raise SessionRefused(whole, header) from refused


class _Session:
    """The steps of reading one session, sharing what is known so far."""

    def __init__(self, context: SessionContext, delivery: str, right: Right | None) -> None:
        self.context, self.header, self.academy = context, context.header, context.academy
        self.names, self.delivery, self.right = context.names, delivery, right
        self.film_flags: dict[str, set[int]] = {"clip_not_followed": set()}
        self.refused: dict[int | None, Refusal] = {r.swing_no: r for r in self.header.refused}
        self.lines_refused: list[Refusal] = []

    def read(self) -> SessionRows:
        self._began()
        plates = sample_files(self.names, self.header)
        self._consents(measured=bool(plates), filmed=bool(clip_files(self.names, self.header)))
        if plates and self.header.device is None:
            todo = 'add a line device = "…" with a [device.*] name of academy.toml, and deliver again'
            raise self._stop("unknown_device", "there are plate samples but no device", todo)
        measured = read_measured(self.context)
        self.header = measured.header
        self.context = replace(self.context, header=measured.header)
        samples = self._samples(measured)
        clips = self._clips()
        events = self._events(measured, samples, clips)
        rows = self._rows(measured, samples, clips, events) | self._lines()
        swings = {row["swing_no"] for row in rows["academy.swing"]}
        kept = swings | {row["swing_no"] for row in rows["academy.hold"]}
        self._anything(kept, rows)
        in_trace = kept & samples.good.keys() if samples else set()
        trace = samples.trace(in_trace) if samples and in_trace else None
        points = clips.points.filter(pl.col("swing_no").is_in(list(swings)))
        season, has_plate = self.academy.season_of(self.header.day), trace is not None
        has_clip = len(points) > 0
        one = session_row(self.header, season, self.delivery, has_plate=has_plate, has_clip=has_clip)
        rows["academy.session"] = [one]
        refused = self._swings_refused() + self.lines_refused
        notices = measured.notices + clips.notices + self._unread()
        return SessionRows(
            self.header, season, trace, rows, points, refused, notices, clips.films, clips.unread
        )

    def _stop(self, reason: str, what: str, todo: str) -> Refused:
        whole = refusal(reason, what, todo, session=self.header.session, file=SHEET)
        return SessionRefused(whole, self.header, self._swings_refused() if reason == "no_swing_left" else ())

    def _refuse(self, found: Iterable[Refusal]) -> None:
        """A swing is refused once, by the first that refuses it."""
        for refused in found:
            self.refused.setdefault(refused.swing_no, refused)

    def _swings_refused(self) -> list[Refusal]:
        return sorted(self.refused.values(), key=lambda r: (r.swing_no is None, r.swing_no or 0))

    def _began(self) -> None:
        """Refuse a session of a later day, which would count as everyone's newest; what is filed has passed.

        The demo's season has its own dates, whatever today is.
        """
        if self.context.filed or self.academy.settings.demo:
            return
        if self.header.started_at > datetime.now(UTC).replace(tzinfo=None) + MOST_AHEAD:
            what = f"started_at is {self.header.started_at:%Y-%m-%d}, more than two days ahead of today"
            raise self._stop("in_the_future", what, "correct it, or this computer's clock, and deliver again")

    def _consents(self, *, measured: bool, filmed: bool) -> None:
        wanted = (["measure"] if measured else []) + (["film"] if filmed else [])
        for purpose in wanted:
            if not self.academy.has_consent(self.header.student, purpose, self.header.day):
                what = f"no consent to {purpose} covers {self.header.student} on {self.header.day}"
                todo = "add it to consents.csv and load that file, the session waits until then"
                raise self._stop("no_consent", what, todo)

    def _samples(self, measured: Measured) -> Samples | None:
        self._refuse(measured.refused)
        if not measured.files:
            return None
        samples = Samples(join(measured.files), self.header)
        unfound = {no for no, flags in measured.flags.items() if "feet_not_found" in flags}
        self._refuse(r for r in samples.refused if r.reason != "no_samples" or r.swing_no not in unfound)
        return samples

    def _clips(self) -> SessionClips:
        clips = read_clips(self.context)
        self.film_flags["feet_swapped"] = clips.swapped()
        self._seen_without_plate(clips.seen)
        self._refuse(clips.refused)
        return clips

    def _seen_without_plate(self, swings: set[int]) -> None:
        """Swings that a film shows need no samples."""
        for found in list(self.refused.values()):
            if found.reason == "no_samples" and found.swing_no in swings:
                del self.refused[found.swing_no]

    def _events(
        self, measured: Measured, samples: Samples | None, clips: SessionClips
    ) -> dict[int, list[Event]]:
        events, refused = read_events(self.context, measured.events)
        self._refuse(refused)
        for no, marked in events.items():
            good = samples.good.get(no) if samples else None
            if good is not None:
                self._refuse(outside(self.header, no, marked, good.t0_s, good.end_s))
        by_eye = {no for no, marked in events.items() if any(event.heels for event in marked)}
        if by_eye:
            self._consents(measured=False, filmed=True)
            self._seen_without_plate(by_eye)
        self._without_films(clips, by_eye | (samples.good.keys() if samples else set()))
        if samples is None:
            what = "nothing was delivered for this swing"
            todo = (
                "deliver the session again with its plate or clip file, or take the swing out of session.toml"
            )
            for no in self.header.swings.keys() - by_eye - clips.seen | self.header.holds.keys():
                self._refuse([self._of_swing("no_samples", what, todo, no)])
        return events

    def _without_films(self, clips: SessionClips, known: set[int]) -> None:
        """A bad film refuses a swing of which nothing else is known; another goes without it, and says so."""
        for found in clips.bad_films:
            if found.swing_no is None or found.swing_no not in known:
                self._refuse([found])
            elif found.swing_no not in self.refused:
                self.film_flags["clip_not_followed"].add(found.swing_no)
                clips.notices.append(f"{found.sentence} The swing is loaded without its film.")

    def _of_swing(self, reason: str, what: str, todo: str, no: int, column: str | None = None) -> Refusal:
        session = self.header.session
        return refusal(reason, what, todo, session=session, swing_no=no, file=SHEET, column=column)

    def _rows(
        self,
        measured: Measured,
        samples: Samples | None,
        clips: SessionClips,
        events: dict[int, list[Event]],
    ) -> dict[str, list[Row]]:
        good = samples.good if samples else {}
        holds = [
            row
            for no, hold in sorted(self.header.holds.items())
            if no not in self.refused and no in good and (row := self._hold(hold, good[no])) is not None
        ]
        kept = [no for no in sorted(self.header.swings) if no not in self.refused]
        films = {film.swing_no: film for film in clips.films}
        swings = []
        for no in kept:
            flags = self._flags(no, measured, good.get(no), events)
            flags |= {name: 1 for name, of in self.film_flags.items() if no in of}
            cut = measured.found.get(no)
            swings.append(swing_row(self.header, no, good.get(no), flags, films.get(no), cut))
        marked = [event_row(self.header.session, no, event) for no in kept for event in events.get(no, [])]
        return {
            "academy.swing": swings, "academy.hold": holds, "academy.swing_event": marked,
            **film_rows(self.header.session, kept, events, films),
        }  # fmt: skip

    @staticmethod
    def _flags(
        no: int, measured: Measured, good: SwingSamples | None, events: dict[int, list[Event]]
    ) -> dict[str, int]:
        flags = dict(good.flags) if good else {}
        for name, count in measured.flags.get(no, {}).items():
            flags[name] = max(flags.get(name, 0), count)
        if not events.get(no):
            flags["unmarked"] = 1
        return flags

    def _hold(self, hold: HoldEntry, good: SwingSamples) -> dict[str, Any] | None:
        """The hold's row, or None when it is refused: too short, or outside its samples."""
        row = hold_row(self.header.session, hold, good)
        start, end, what = row["from_s"], row["to_s"], None
        least = SHORTEST_ROCKING_S if hold.rocking else SHORTEST_HOLD_S
        if row["seconds"] < least:
            what = f"the hold lasts {max(end - start, 0):.3g} s but must last at least {least:g} s"
        elif start < good.t0_s - 1e-9 or end > good.end_s + 1e-9:
            inside = f"{good.t0_s:.6g} to {good.end_s:.6g} s"
            what = f"{start:g} to {end:g} s is outside the hold's samples ({inside})"
        if what is None:
            return row
        todo = "measure at least 20 s, or correct from_s and to_s, and deliver the session again"
        self.refused[hold.no] = self._of_swing("hold", what, todo, hold.no, "to_s")
        return None

    def _swing_numbers(self, session: str) -> set[int]:
        numbers = self.header.swings.keys() | self.header.holds.keys() | self.refused.keys()
        return {no for no in numbers if no is not None} if session == self.header.session else set()

    def _lines(self) -> dict[str, list[Row]]:
        """Rows of notes and shots; of several with one key, in several files, the first counts."""
        found: dict[str, list[Row]] = {}
        student = self.header.student
        not_theirs = self.right.problem_of_line if self.right is not None else None
        context = LineContext(
            self.academy, lambda _: student, self._swing_numbers, self.context.header, not_theirs
        )
        for kind in formats(LineFormat):
            rows: dict[Any, Row] = {}
            files: dict[Any, str] = {}
            for name in (name for name in self.names if kind.recognises(name)):
                lines = kind.read(self.context.held[name], name, context)
                self.lines_refused += lines.refused
                for key, row in lines.rows.items():
                    if key not in rows:
                        rows[key], files[key] = row, name
                    elif (duplicate := kind.duplicate(row, files[key], name)) is not None:
                        self.lines_refused.append(duplicate)
            found[kind.table] = from_lines(rows.values(), self.delivery, loose=False)
        return found

    def _unread(self) -> list[str]:
        """One notice that names the files no format takes: misspelt, in a subfolder, or of another kind."""
        named = {name for swing in self.header.swings.values() for name in (swing.file, swing.clip)}
        read = {*sample_files(self.names, self.header), *clip_files(self.names, self.header), *named}
        left = [name for name in self.names if name not in read and not is_known(name)]
        if not left:
            return []
        some = ", ".join(escaped(name) for name in left[:_MOST_NAMED])
        more = f" and {len(left) - _MOST_NAMED} more" if len(left) > _MOST_NAMED else ""
        where = f"in the session's folder {'was' if len(left) == 1 else 'were'} not read"
        why = "no such name is known; rename what should be read and deliver the session again."
        return [f"Session {self.header.session}: {some}{more} {where}, as {why}"]

    def _anything(self, kept: set[int], rows: dict[str, list[Row]]) -> None:
        if not kept and self.refused:
            what = f"no swing is left, since all {len(self.refused)} were refused"
            todo = "correct the swings listed with it and deliver the session again"
            raise self._stop("no_swing_left", what, todo)
        if not (kept or rows["academy.note"] or rows["academy.shot"]):
            todo = "add its [[swing]] tables and plate file, and deliver again"
            raise self._stop("no_swing_left", "the session holds no swing, no hold and no note", todo)
