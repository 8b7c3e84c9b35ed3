"""Event times in a table of their own (`events.csv`): one row a swing, event and clock."""

from ingest.formats.format import EventFormat, RefusedSwings, SessionContext
from ingest.formats.tables import TableFormat, read_table
from ingest.session_file import Event
from warehouse.contracts.deliveries import EventLine


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
                event = Event(values["event"], values["t_s"], values["clock"] or "plate", name, at)
                events.append((no, event))
            elif no not in refused and all(r.swing_no != no for r in header.refused):
                refused[no] = table.unmatched_swing(row, header.session)
        return events, refused
