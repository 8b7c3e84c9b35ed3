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
from ingest.readers.notes import doses, nudges, read_notes
from ingest.readers.plates import join, read_plate_file
from ingest.readers.samples import Samples, SwingSamples
from ingest.readers.session import read_sheet
from ingest.readers.sheet import HoldSheet, SessionSheet
from ingest.readers.shots import read_shots
from ingest.refusing import Told, refusal, refuse
from warehouse.contracts.base import dtypes_of, require
from warehouse.contracts.rows import ROWS
from warehouse.errors import Refusal, Refused
from warehouse.traces import SessionTrace

SHORTEST_HOLD_S = 10.0
_UNREAD = ("plate*.c3d", "frames.npz", "frames.parquet", "clip.json")
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
        plates = [n for n in self.names if fnmatch(n, "plate*.csv") or fnmatch(n, "plate*.parquet")]
        filmed = "clip.csv" in self.held or any(fnmatch(n, p) for n in self.names for p in _FILMS)
        self._readable()
        self._consents(bool(plates), filmed)
        if plates and self.sheet.device is None:
            todo = 'add a line device = "…" with a [device.*] name of academy.toml, and deliver again'
            raise self._stop("unknown_device", "there are plate samples but no device", todo)
        samples = self._samples(plates)
        clips = self._clips()
        events = self._events(samples, clips)
        frames = self._frames(samples, clips, events)
        frames |= self._notes() | self._shots()
        kept = set(frames["academy.swing"]["swing_no"]) | set(frames["academy.hold"]["swing_no"])
        self._anything(kept, frames)
        in_trace = kept & samples.good.keys() if samples else set()
        trace = samples.trace(in_trace) if samples and in_trace else None
        frames["academy.session"] = self._session_row(
            trace is not None, len(frames["academy.clip_point"]) > 0
        )
        checked = {table: require(ROWS[table], frame) for table, frame in frames.items()}
        season = self.academy.season_of(self.sheet.day)
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

    def _samples(self, plates: list[str]) -> Samples | None:
        if not plates:
            return None
        files = [read_plate_file(name, self.held[name], self.sheet, self.academy) for name in plates]
        samples = Samples(join(files), self.sheet)
        for found in samples.refused:
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

    def _events(self, samples: Samples | None, clips: pl.DataFrame | None) -> dict[int, list[Event]]:
        events = read_events(self.sheet, self.held, self.academy)
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
        self, samples: Samples | None, clips: pl.DataFrame | None, events: dict[int, list[Event]]
    ) -> dict[str, pl.DataFrame]:
        good = samples.good if samples else {}
        heels = samples is not None and {"lead_heel_n", "trail_heel_n"} <= samples.values.keys()
        holds = [
            row
            for no, hold in sorted(self.sheet.holds.items())
            if no not in self.refused and no in good and (row := self._hold_row(hold, good[no])) is not None
        ]
        swings = [
            self._swing_row(no, good.get(no), heels, bool(events.get(no)))
            for no in sorted(self.sheet.swings)
            if no not in self.refused
        ]
        kept = {row["swing_no"] for row in swings}
        marked = [self._event_row(no, event) for no in sorted(kept) for event in events.get(no, [])]
        points = clips.filter(pl.col("swing_no").is_in(list(kept))) if clips is not None else None
        return {
            "academy.swing": _typed("academy.swing", swings),
            "academy.hold": _typed("academy.hold", holds),
            "academy.swing_event": _typed("academy.swing_event", marked),
            "academy.clip_point": _typed("academy.clip_point", [])
            if points is None
            else points.with_columns(session=pl.lit(self.sheet.session)),
        }

    def _swing_row(
        self,
        no: int,
        good: SwingSamples | None,
        heels: bool,  # noqa: FBT001 - plain facts
        marked: bool,  # noqa: FBT001 - plain facts
    ) -> dict[str, Any]:
        swing = self.sheet.swings[no]
        flags = dict(good.flags) if good else {}
        if not marked:
            flags["unmarked"] = 1
        offset = self.sheet.clip.offset_s if self.sheet.clip and good else None
        return {
            "session": self.sheet.session,
            "swing_no": no,
            "club": swing.club,
            "club_family": swing.club_family,
            "part": swing.part,
            "pace": swing.pace,
            "drill": swing.drill,
            "device": self.sheet.device if good else None,
            "rate_hz": good.rate_hz if good else None,
            "n_samples": len(good.order) if good else 0,
            "t0_s": good.t0_s if good else None,
            "usable": False,
            "flags": list(flags),
            "flag_counts": list(flags.values()),
            "file_flags": list(flags),
            "file_flag_counts": list(flags.values()),
            "heel_source": ("measured" if heels else "estimated") if good else "none",
            "clip_offset_s": offset,
        }

    def _event_row(self, no: int, event: Event) -> dict[str, Any]:
        return {
            "session": self.sheet.session,
            "swing_no": no,
            "event": event.event,
            "t_s": event.t_s,
            "source": "marked",
            "expected_error_s": 0.0,
            "clock": event.clock,
        }

    def _hold_row(self, hold: HoldSheet, good: SwingSamples) -> dict[str, Any] | None:
        start = good.t0_s if hold.from_s is None else hold.from_s
        end = good.end_s if hold.to_s is None else hold.to_s
        what = None
        if end - start < SHORTEST_HOLD_S:
            what = f"the hold lasts {max(end - start, 0):.3g} s but must last at least {SHORTEST_HOLD_S:g} s"
        elif start < good.t0_s - 1e-9 or end > good.end_s + 1e-9:
            inside = f"{good.t0_s:.6g} to {good.end_s:.6g} s"
            what = f"{start:g} to {end:g} s lies outside the hold's samples ({inside})"
        if what is not None:
            todo = "measure at least 20 s, or correct from_s and to_s, and deliver the session again"
            self.refused[hold.no] = refusal(
                "hold", what, todo, session=self.sheet.session, swing_no=hold.no, file=SHEET, column="to_s"
            )
            return None
        return {
            "session": self.sheet.session,
            "swing_no": hold.no,
            "eyes": hold.eyes,
            "seconds": end - start,
            "from_s": start,
            "to_s": end,
            "rate_hz": good.rate_hz,
            "n_samples": len(good.order),
            "t0_s": good.t0_s,
        }

    def _swing_numbers(self, session: str) -> set[int]:
        numbers = self.sheet.swings.keys() | self.sheet.holds.keys() | self.refused.keys()
        return {no for no in numbers if no is not None} if session == self.sheet.session else set()

    def _notes(self) -> dict[str, pl.DataFrame]:
        found = [_typed("academy.note", [])]
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
        found = [_typed("academy.shot", [])]
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

    def _session_row(self, has_plate: bool, has_clip: bool) -> pl.DataFrame:  # noqa: FBT001 - two plain facts
        sheet, clip = self.sheet, self.sheet.clip
        row = {
            "session": sheet.session,
            "student": sheet.student,
            "coach": sheet.coach,
            "started_at": sheet.started_at,
            "day": sheet.day,
            "season": self.academy.season_of(sheet.day),
            "device": sheet.device if has_plate else None,
            "delivery": self.delivery,
            "club": sheet.club,
            "body_mass_kg": sheet.body_mass_kg,
            "stance_mm": list(sheet.stance_mm) if sheet.stance_mm else None,
            "has_plate": has_plate,
            "has_clip": has_clip,
            "clip_fps": clip.fps if clip else None,
            "shoe_length_mm": clip.shoe_length_mm if clip else None,
            "clip_view": clip.view if clip else None,
            "feet_checked": sheet.feet_checked,
            "reduced": False,
        }
        return _typed("academy.session", [row])


def _typed(table: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=dtypes_of(ROWS[table]))


def note_rows(frame: pl.DataFrame, delivery: str, *, loose: bool) -> pl.DataFrame:
    """Rows of academy.note from a reader's lines."""
    types = dtypes_of(ROWS["academy.note"])
    return (
        frame.with_columns(delivery=pl.lit(delivery), loose=pl.lit(loose))
        .select(list(types))
        .cast(pl.Schema(types))
    )


def note_frames(notes: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """The tables that notes fill."""
    return {
        "academy.note": notes,
        "academy.drill_dose": doses(notes),
        "academy.steadiness": nudges(notes),
    }


def shot_rows(frame: pl.DataFrame, delivery: str, *, loose: bool) -> pl.DataFrame:
    """Rows of academy.shot from a reader's lines."""
    types = dtypes_of(ROWS["academy.shot"])
    return (
        frame.with_columns(delivery=pl.lit(delivery), loose=pl.lit(loose))
        .select(list(types))
        .cast(pl.Schema(types))
    )
