"""Event times in a table of their own (`events.csv`): one row a swing, event and clock."""

from ingest.formats.format import EventFormat, SessionContext
from ingest.refusals import refusal
from ingest.session_file import Event
from ingest.tables import TableFormat, read_table
from warehouse.contracts.deliveries import EventLine
from warehouse.errors import Refusal


class EventTimes(TableFormat, EventFormat):
    """A table of event times."""

    names = ("events.csv",)
    orphans = names
    contract = EventLine

    def read(
        self, name: str, context: SessionContext
    ) -> tuple[list[tuple[int, Event]], dict[int | None, Refusal]]:
        """Events by swing number; each swing with a broken line is refused, by its first.

        Raises
            Refused: the file can't be read, or its columns do not fit.
        """
        header = context.header
        zone = context.academy.settings.zone
        table = read_table(context.held[name], name, EventLine, zone, todo="add it")
        refused = table.refused_swings(header.session)
        bad = {f.index for f in table.broken if f.index is not None}
        events = []
        for row, values in enumerate(table.frame.iter_rows(named=True)):
            no = values["swing_no"]
            if row in bad:
                continue
            if no in header.swings:
                clock = values["clock"] or "plate"
                events.append((no, Event(values["event"], values["t_s"], clock, name, table.lines[row])))
            elif all(r.swing_no != no for r in header.refused):
                place = {"session": header.session, "file": name, "line": table.lines[row]}
                what = "session.toml has no such swing"
                todo = "correct the number and deliver the session again"
                unmatched = refusal("unmatched_swing", what, todo, swing_no=no, column="swing_no", **place)  # type: ignore[arg-type]
                refused.setdefault(no, unmatched)
        return events, refused
