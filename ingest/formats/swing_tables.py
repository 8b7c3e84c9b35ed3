"""The `[[swing]]` and `[[hold]]` tables of a session.toml; a bad one refuses its own swing only."""

from typing import Any

from ingest.academy import Academy
from ingest.refusals import refusal, refuse, shown
from ingest.session_file import FILE, HoldEntry, SessionHeader, SwingEntry, is_number, line_of
from warehouse.errors import Refusal, UnderfootError
from warehouse.vocabulary import EYES, PACES, PARTS

_AGAIN = "mend it and deliver the session again"
_SWING_KEYS = {"no", "part", "drill", "pace", "club", "file", "clip", "events", "clip_events"}
_HOLD_KEYS = {"no", "eyes", "from_s", "to_s"}


def club_name(given: Any) -> str | None:
    """A club as it is named; a bare loft may be written as a number, 56 for "56".

    Raises
        ValueError: neither a text nor a number, said as the middle of a sentence.
    """
    if given is None or isinstance(given, str):
        return given
    if is_number(given):
        return f"{given:g}"
    raise ValueError(f'club is {shown(str(given))} but must be a name such as "7-iron" or a loft such as 56')


class SwingTables:
    """Reads the swings and holds of one session.toml into its header."""

    def __init__(self, text: str, table: dict[str, Any], header: SessionHeader, academy: Academy) -> None:
        self.text, self.table, self.header, self.academy = text, table, header, academy
        numbers = [row.get("no") for kind in ("swing", "hold") for row in self._rows(kind)]
        self.twice = {no for no in numbers if isinstance(no, int) and numbers.count(no) > 1}

    def read(self) -> None:
        """Fill `header.swings`, `header.holds` and `header.refused`.

        Raises
            Refused: the tables are not tables, or one has no number.
        """
        for kind, take in (("swing", self._swing), ("hold", self._hold)):
            for place, row in enumerate(self._rows(kind), start=1):
                no = self._no(row, kind, place)
                try:
                    if no in self.twice:
                        raise self._bad(
                            "swing_twice", f"swing number {no} stands twice", no, "no", place, kind
                        )
                    take(row, no, place)
                except _BadSwing as bad:
                    if all(r.swing_no != no for r in self.header.refused):
                        self.header.refused.append(bad.refusal)

    def _rows(self, kind: str) -> list[dict[str, Any]]:
        rows = self.table.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            what = f"{kind} must be written as [[{kind}]] tables"
            place = {"session": self.header.session, "file": FILE, "line": line_of(self.text, kind)}
            raise refuse("unreadable", what, _AGAIN, column=kind, **place)
        return rows

    def _no(self, row: dict[str, Any], kind: str, place: int) -> int:
        no = row.get("no")
        if not isinstance(no, int) or isinstance(no, bool) or not 0 <= no <= 1_000_000:
            what = f"[[{kind}]] number {place} has no whole number no"
            line = line_of(self.text, "no", kind, place)
            raise refuse(
                "bad_number", what, _AGAIN, session=self.header.session, file=FILE, line=line, column="no"
            )
        return no

    def _swing(self, row: dict[str, Any], no: int, place: int) -> None:
        self._known_keys(row, _SWING_KEYS, no, place, "swing")
        part = self._word(row, "part", PARTS, "baseline", no, place)
        pace = self._word(row, "pace", PACES, "full", no, place)
        drill, file = row.get("drill"), row.get("file")
        if drill is not None and drill not in self.academy.drills:
            what = f"drill {shown(str(drill))} is not in drills.csv"
            raise self._bad("unknown_drill", what, no, "drill", place)
        try:
            club = club_name(row.get("club", self.header.club))
        except ValueError as error:
            raise self._bad("unknown_value", str(error), no, "club", place) from error
        events, clip_events = row.get("events", {}), row.get("clip_events", {})
        if not isinstance(events, dict) or not isinstance(clip_events, dict):
            raise self._bad("event_name", "events must be a table of names and seconds", no, "events", place)
        if file is not None and not isinstance(file, str):
            raise self._bad("unknown_value", "file must be the name of a recording", no, "file", place)
        clip = row.get("clip")
        if clip is not None and not isinstance(clip, str):
            raise self._bad("unknown_value", "clip must be the name of a keypoint file", no, "clip", place)
        family = self._family(club, no, place)
        self.header.swings[no] = SwingEntry(
            no, part, pace, drill, club, family, events, clip_events, file, place, clip
        )

    def _known_keys(self, row: dict[str, Any], known: set[str], no: int, place: int, kind: str) -> None:
        strange = next((key for key in row if key not in known), None)
        if strange is not None:
            raise self._bad(
                "unknown_key", f'"{strange}" is not a line of [[{kind}]]', no, strange, place, kind
            )

    def _word(
        self, row: dict[str, Any], key: str, words: tuple[str, ...], usual: str, no: int, place: int
    ) -> str:
        word = row.get(key, usual)
        if word not in words:
            what = f"{key} is {shown(str(word))} but must be one of {', '.join(words)}"
            raise self._bad("unknown_value", what, no, key, place)
        return str(word)

    def _family(self, club: str | None, no: int, place: int) -> str | None:
        if club is None:
            return None
        try:
            return self.academy.settings.club_family(club)
        except UnderfootError as error:
            what = f"the club {shown(club)} fits no club family"
            todo = "name it so or add it under [club_families] in academy.toml, then deliver again"
            raise self._bad("unknown_club", what, no, "club", place, todo=todo) from error

    def _hold(self, row: dict[str, Any], no: int, place: int) -> None:
        self._known_keys(row, _HOLD_KEYS, no, place, "hold")
        eyes, spans = row.get("eyes"), [row.get(key) for key in ("from_s", "to_s")]
        if eyes not in EYES:
            what = f'eyes is {shown(None if eyes is None else str(eyes))} but must be "open" or "closed"'
            raise self._bad("bad_hold", what, no, "eyes", place, "hold")
        if not all(v is None or is_number(v) for v in spans):
            raise self._bad("bad_hold", "from_s and to_s must be seconds", no, "from_s", place, "hold")
        self.header.holds[no] = HoldEntry(no, eyes, *(None if v is None else float(v) for v in spans))

    def _bad(
        self, reason: str, what: str, no: int, key: str, place: int, table: str = "swing", todo: str = _AGAIN
    ) -> "_BadSwing":
        line = line_of(self.text, key, table, place)
        where = {"session": self.header.session, "swing_no": no, "file": FILE, "line": line, "column": key}
        return _BadSwing(refusal(reason, what, todo, **where))  # type: ignore[arg-type]


class _BadSwing(Exception):  # noqa: N818 - it ends one swing, not the program
    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.sentence)
        self.refusal = refusal
