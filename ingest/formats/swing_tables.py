"""Tables of a session's swings: event times with heels seen (`events.csv`), clip points (`clip.csv`)."""

import polars as pl

from ingest.formats.format import EventFormat, PointTableFormat, RefusedSwings, SessionContext
from ingest.formats.keypoints import named_points
from ingest.formats.tables import TableFormat, read_table
from ingest.session_file import Event
from warehouse.contracts.deliveries import ClipLine, EventLine
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
            no = values["swing_no"]
            if row in bad:
                continue
            if no in header.swings:
                heels = {foot: heel for foot in FEET if (heel := values[f"{foot}_heel"]) is not None}
                clock = values["clock"] or "plate"
                if heels and clock != "clip":
                    what = "heels are seen on a film, so this line's clock must be clip"
                    problem = ("unknown_value", what, "clock")
                    refused.setdefault(no, table.refuse_swing(row, problem, header.session))
                    continue
                line = table.lines[row]
                events.append((no, Event(values["event"], values["t_s"], clock, name, line, heels)))
            elif no not in refused and all(r.swing_no != no for r in header.refused):
                refused[no] = table.unmatched_swing(row, header.session)
        return events, refused


class ClipPoints(TableFormat, PointTableFormat):
    """A table of points marked in the clips of a session."""

    names = ("clip.csv",)
    orphans = ("clip.*", "clip-*")
    contract = ClipLine

    def read(self, name: str, context: SessionContext) -> tuple[pl.DataFrame, list[Refusal]]:
        """Rows of the good swings, left and right named lead and trail; and the swings refused."""
        context.clip()

        def by_foot(cells: pl.DataFrame) -> pl.DataFrame:
            return (
                cells.with_columns(named_points(cells, context, name)) if "point" in cells.columns else cells
            )

        zone, header = context.academy.settings.zone, context.header
        table = read_table(context.held[name], name, ClipLine, zone, by_foot)
        refused = table.refused_swings(header.session)
        listed = {*header.swings, *(r.swing_no for r in header.refused)}
        swings = table.frame["swing_no"]
        for row in swings.is_first_distinct().arg_true():
            if swings[row] is not None and swings[row] not in refused and swings[row] not in listed:
                refused[swings[row]] = table.unmatched_swing(row, header.session)
        keys = pl.struct("swing_no", "frame", "point")
        problem = ("point_twice", "a point appears twice in one frame", "point")
        for row in table.frame.select(keys.is_duplicated()).to_series().arg_true():
            if swings[row] is not None and swings[row] not in refused:
                refused[swings[row]] = table.refuse_swing(row, problem, header.session)
        bad = [no for no in refused if no is not None]
        good = table.frame.filter(pl.col("swing_no").is_not_null() & ~pl.col("swing_no").is_in(bad))
        return good.sort("swing_no", "frame", "point"), list(refused.values())
