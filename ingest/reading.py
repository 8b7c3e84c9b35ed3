"""One session's delivery, read whole: sheet, samples, clip, events, notes, shots, as rows ready to land."""

from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from typing import Any

import polars as pl

from ingest.academy import Academy
from ingest.deliveries import SHEET, Contents, Delivery
from ingest.readers.clips import Clips, read_clip
from ingest.readers.events import Event, outside, read_events
from ingest.readers.measured import Measured, read_measured, sample_files
from ingest.readers.notes import read_notes
from ingest.readers.plates import join
from ingest.readers.samples import Samples, SwingSamples
from ingest.readers.session import read_sheet
from ingest.readers.sheet import HoldSheet, SessionSheet
from ingest.readers.shots import read_shots
from ingest.refusing import Told, refusal, refuse
from ingest.rows import (
    event_row,
    hold_row,
    note_frames,
    note_rows,
    session_row,
    shot_rows,
    swing_row,
    typed,
)
from warehouse.contracts.base import require
from warehouse.contracts.rows import ROWS
from warehouse.errors import Refusal, Refused
from warehouse.traces import SessionTrace

SHORTEST_HOLD_S = 10.0
_UNREAD = ("clip.json",)
_FILMS = ("*.mp4", "*.mov")


@dataclass(frozen=True)
class SessionRows:
    """Everything of one session that will land: rows by table, trace, and what was refused in it."""

    sheet: SessionSheet
    season: str | None
    trace: SessionTrace | None
    frames: dict[str, pl.DataFrame]
    refused: list[Refusal]


class SessionRefused(Refused):
    """A session that can't be taken, by itself or because every swing of it was refused (`swings`)."""

    def __init__(self, whole: Refusal, sheet: SessionSheet, swings: Sequence[Refusal] = ()) -> None:
        super().__init__(whole)
        self.sheet = sheet
        self.listed = list(swings) or [whole]


def read_session(contents: Contents, delivery: Delivery, academy: Academy) -> SessionRows:
    """Read a session's delivery, whose bytes are in `contents`.

    Raises
        Refused: the session as a whole can't be taken.
    """
    held = contents.held
    if SHEET not in held:
        what = f"there is {', '.join(delivery.files[:3])} but no session.toml"
        raise refuse(
            "no_session_toml", what, "add one that says who, when and on which device, and deliver again"
        )
    sheet = read_sheet(held[SHEET], academy)
    try:
        return _Session(sheet, contents, delivery, academy).read()
    except SessionRefused:
        raise
    except Refused as refused:
        told = refused.refusal
        whole = told.of_session(sheet.session) if isinstance(told, Told) else told
        raise SessionRefused(whole, sheet) from refused


class _Session:
    """The steps of reading one session, sharing what is known so far."""

    def __init__(
        self,
        sheet: SessionSheet,
        contents: Contents,
        delivery: Delivery,
        academy: Academy,
    ) -> None:
        self.sheet, self.academy = sheet, academy
        self.held, self.delivery = contents.held, contents.fingerprint
        self.base, self.names = delivery.base, delivery.files
        self.refused: dict[int | None, Refusal] = {r.swing_no: r for r in sheet.refused}
        self.lines_refused: list[Refusal] = []

    def read(self) -> SessionRows:
        plates = sample_files(self.names)
        filmed = "clip.csv" in self.held or any(fnmatch(n, p) for n in self.names for p in _FILMS)
        self._readable()
        self._consents(bool(plates), filmed)
        if plates and self.sheet.device is None:
            todo = 'add a line device = "…" with a [device.*] name of academy.toml, and deliver again'
            raise self._stop("unknown_device", "there are plate samples but no device", todo)
        measured = read_measured(self.sheet, self.base, self.names, self.held, self.academy)
        self.sheet = measured.sheet
        samples = self._samples(measured)
        clips = self._clips()
        events = self._events(measured, samples, clips)
        frames = self._frames(measured, samples, clips, events)
        frames |= self._notes() | self._shots()
        kept = set(frames["academy.swing"]["swing_no"]) | set(frames["academy.hold"]["swing_no"])
        self._anything(kept, frames)
        in_trace = kept & samples.good.keys() if samples else set()
        trace = samples.trace(in_trace) if samples and in_trace else None
        season, has_clip = self.academy.season_of(self.sheet.day), len(frames["academy.clip_point"]) > 0
        frames["academy.session"] = session_row(
            self.sheet, season, self.delivery, has_plate=trace is not None, has_clip=has_clip
        )
        checked = {table: require(ROWS[table], frame) for table, frame in frames.items()}
        return SessionRows(self.sheet, season, trace, checked, self._swings_refused() + self.lines_refused)

    def _stop(self, reason: str, what: str, todo: str) -> Refused:
        whole = refusal(reason, what, todo, session=self.sheet.session, file=SHEET)
        return SessionRefused(whole, self.sheet, self._swings_refused() if reason == "no_swing_left" else ())

    def _swings_refused(self) -> list[Refusal]:
        return sorted(self.refused.values(), key=lambda r: (r.swing_no is None, r.swing_no or 0))

    def _readable(self) -> None:
        unread = next((n for n in self.names if any(fnmatch(n, p) for p in _UNREAD)), None)
        if unread is not None:
            what = f"{unread} is not a kind of file that is read here"
            raise self._stop("unreadable", what, "export it as plate.csv or clip.csv and deliver again")

    def _consents(self, measured: bool, filmed: bool) -> None:  # noqa: FBT001 - two plain facts
        wanted = (["measure"] if measured else []) + (["film"] if filmed else [])
        for purpose in wanted:
            if not self.academy.has_consent(self.sheet.student, purpose, self.sheet.day):
                what = f"no consent to {purpose} covers {self.sheet.student} on {self.sheet.day}"
                todo = "add it to consents.csv and load that file, the session waits until then"
                raise self._stop("no_consent", what, todo)

    def _samples(self, measured: Measured) -> Samples | None:
        for found in measured.refused:
            self.refused.setdefault(found.swing_no, found)
        if not measured.files:
            return None
        samples = Samples(join(measured.files), self.sheet)
        for found in samples.refused:
            unfound = "feet_not_found" in measured.flags.get(found.swing_no or -1, [])
            if not (found.reason == "no_samples" and unfound):
                self.refused.setdefault(found.swing_no, found)
        return samples

    def _clips(self) -> pl.DataFrame | None:
        if "clip.csv" not in self.held:
            return None
        clips: Clips = read_clip(self.held["clip.csv"], self.sheet, self.academy)
        seen = set(clips.frame["swing_no"])
        for found in list(self.refused.values()):
            if found.reason == "no_samples" and found.swing_no in seen:
                del self.refused[found.swing_no]
        for found in clips.refused:
            self.refused.setdefault(found.swing_no, found)
        return clips.frame

    def _events(
        self, measured: Measured, samples: Samples | None, clips: pl.DataFrame | None
    ) -> dict[int, list[Event]]:
        events = read_events(self.sheet, self.held, self.academy, measured.events)
        for found in events.refused:
            self.refused.setdefault(found.swing_no, found)
        for no, marked in events.by_swing.items():
            good = samples.good.get(no) if samples else None
            if good is not None:
                problem = outside(self.sheet, no, marked, good.t0_s, good.end_s)
                if problem is not None:
                    self.refused.setdefault(no, problem)
        if samples is None:
            filmed = set() if clips is None else set(clips["swing_no"])
            for no in self.sheet.swings.keys() - filmed | self.sheet.holds.keys():
                self.refused.setdefault(no, self._unmeasured(no))
        return events.by_swing

    def _unmeasured(self, no: int) -> Refusal:
        return refusal(
            "no_samples",
            "nothing was delivered for this swing",
            "deliver the session again with its plate or clip file, or take the swing out of session.toml",
            session=self.sheet.session,
            swing_no=no,
            file=SHEET,
        )

    def _frames(
        self,
        measured: Measured,
        samples: Samples | None,
        clips: pl.DataFrame | None,
        events: dict[int, list[Event]],
    ) -> dict[str, pl.DataFrame]:
        good = samples.good if samples else {}
        holds = [
            row
            for no, hold in sorted(self.sheet.holds.items())
            if no not in self.refused and no in good and (row := self._hold(hold, good[no])) is not None
        ]
        swings = [
            swing_row(self.sheet, no, good.get(no), self._flags(no, measured, good.get(no), events))
            for no in sorted(self.sheet.swings)
            if no not in self.refused
        ]
        kept = {row["swing_no"] for row in swings}
        marked = [
            event_row(self.sheet.session, no, event) for no in sorted(kept) for event in events.get(no, [])
        ]
        points = clips.filter(pl.col("swing_no").is_in(list(kept))) if clips is not None else None
        return {
            "academy.swing": typed("academy.swing", swings),
            "academy.hold": typed("academy.hold", holds),
            "academy.swing_event": typed("academy.swing_event", marked),
            "academy.clip_point": typed("academy.clip_point", [])
            if points is None
            else points.with_columns(session=pl.lit(self.sheet.session)),
        }

    @staticmethod
    def _flags(
        no: int, measured: Measured, good: SwingSamples | None, events: dict[int, list[Event]]
    ) -> dict[str, int]:
        flags = dict(good.flags) if good else {}
        for name in measured.flags.get(no, []):
            flags[name] = max(flags.get(name, 0), 1)
        if not events.get(no):
            flags["unmarked"] = 1
        return flags

    def _hold(self, hold: HoldSheet, good: SwingSamples) -> dict[str, Any] | None:
        """The hold's row, or None when it is refused: too short, or outside its samples."""
        row = hold_row(self.sheet.session, hold, good)
        start, end, what = row["from_s"], row["to_s"], None
        if row["seconds"] < SHORTEST_HOLD_S:
            what = f"the hold lasts {max(end - start, 0):.3g} s but must last at least {SHORTEST_HOLD_S:g} s"
        elif start < good.t0_s - 1e-9 or end > good.end_s + 1e-9:
            inside = f"{good.t0_s:.6g} to {good.end_s:.6g} s"
            what = f"{start:g} to {end:g} s lies outside the hold's samples ({inside})"
        if what is None:
            return row
        todo = "measure at least 20 s, or correct from_s and to_s, and deliver the session again"
        self.refused[hold.no] = refusal(
            "hold", what, todo, session=self.sheet.session, swing_no=hold.no, file=SHEET, column="to_s"
        )
        return None

    def _swing_numbers(self, session: str) -> set[int]:
        numbers = self.sheet.swings.keys() | self.sheet.holds.keys() | self.refused.keys()
        return {no for no in numbers if no is not None} if session == self.sheet.session else set()

    def _notes(self) -> dict[str, pl.DataFrame]:
        found = [typed("academy.note", [])]
        for name in self.names:
            if fnmatch(name, "notes*.csv") or fnmatch(name, "notes*.jsonl"):
                notes = read_notes(
                    self.held[name],
                    name,
                    self.academy,
                    sheet=self.sheet,
                    session_student=lambda _: self.sheet.student,
                    swings_of=self._swing_numbers,
                )
                self.lines_refused += notes.refused
                found.append(note_rows(notes.frame, self.delivery, loose=False))
        return note_frames(pl.concat(found).unique("note", keep="first", maintain_order=True))

    def _shots(self) -> dict[str, pl.DataFrame]:
        found = [typed("academy.shot", [])]
        for name in self.names:
            if fnmatch(name, "shots*.csv"):
                shots = read_shots(
                    self.held[name], name, self.academy, sheet=self.sheet, swings_of=self._swing_numbers
                )
                self.lines_refused += shots.refused
                found.append(shot_rows(shots.frame, self.delivery, loose=False))
        frame = pl.concat(found).unique(["session", "swing_no"], keep="last", maintain_order=True)
        return {"academy.shot": frame}

    def _anything(self, kept: set[int], frames: dict[str, pl.DataFrame]) -> None:
        if kept:
            return
        if self.refused:
            what = f"no swing is left, since all {len(self.refused)} were refused"
            raise self._stop(
                "no_swing_left", what, "mend the swings listed with it and deliver the session again"
            )
        if frames["academy.note"].is_empty() and frames["academy.shot"].is_empty():
            what = "the session holds no swing, no hold and no note"
            raise self._stop(
                "no_swing_left", what, "add its [[swing]] tables and plate file, and deliver again"
            )
