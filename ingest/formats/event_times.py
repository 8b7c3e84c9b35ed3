"""Event times in a table (`events.csv`), with heels seen by eye: one row a swing, event and clock."""

from ingest.formats.format import EventFormat, RefusedSwings, SessionContext
from ingest.formats.tables import TableFormat, read_table
from ingest.refusals import refusal
from ingest.session_file import Event
from warehouse.contracts.deliveries import EventLine
from warehouse.errors import Refusal
from warehouse.vocabulary import FEET


class EventTimes(TableFormat, EventFormat):
    """A table of event times."""

    names = ("events.csv",)
    orphans = names
    contract = EventLine

    def read(self, name: str, context: SessionContext) -> tuple[list[tuple[int, Event]], RefusedSwings]:
        """Events by swing number; each swing with a broken line is refused, by its first."""
        header, events = context.header, []
        table = read_table(context.held[name], name, EventLine, context.academy.settings.zone)
        refused, bad = table.refused_swings(header.session), table.problems
        for row, values in enumerate(table.frame.iter_rows(named=True)):
            no, at = values["swing_no"], table.lines[row]
            if row in bad:
                continue
            if no in header.swings:
                heels = {foot: heel for foot in FEET if (heel := values[f"{foot}_heel"]) is not None}
                clock = values["clock"] or "plate"
                if heels and clock != "clip":
                    what = "heels are seen on a film, so this line's clock must be clip"
                    refused.setdefault(no, _of_line(header.session, no, name, at, what))
                    continue
                events.append((no, Event(values["event"], values["t_s"], clock, name, at, heels)))
            elif no not in refused and all(r.swing_no != no for r in header.refused):
                refused[no] = table.unmatched_swing(row, header.session)
        return events, refused


def _of_line(session: str, no: int, file: str, line: int, what: str) -> Refusal:
    todo = "correct it and deliver the session again"
    return refusal(
        "unknown_value", what, todo, session=session, swing_no=no, file=file, line=line, column="clock"
    )
