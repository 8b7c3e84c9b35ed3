"""Clip points (`clip.csv`): where heels and toes were seen in each video frame of a swing."""

from typing import Any

import polars as pl

from ingest.delimited import open_text, read_strings
from ingest.formats.format import PointTableFormat, SessionContext
from ingest.formats.keypoints import named_points
from ingest.refusals import refusal
from ingest.tables import TableFormat, read_typed
from warehouse.contracts.deliveries import ClipLine
from warehouse.errors import Refusal

_AGAIN = "correct it and deliver the session again"


class ClipPoints(TableFormat, PointTableFormat):
    """A table of points marked in the clips of a session."""

    names = ("clip.csv",)
    orphans = ("clip.*", "clip-*")
    contract = ClipLine

    def read(self, name: str, context: SessionContext) -> tuple[pl.DataFrame, list[Refusal]]:
        """Rows of the good swings, and the swings refused; left and right become lead and trail by the hand.

        Raises
            Refused: the file can't be read, its columns do not fit, or `[clip]` or the hand is missing.
        """
        context.clip()
        text = open_text(context.held[name], name)
        strings, lines = read_strings(text)
        if "point" in strings.columns:
            strings = strings.with_columns(named_points(strings, context, name))
        table = read_typed(
            strings,
            lines,
            name,
            ClipLine,
            context.academy.settings.zone,
            todo="add it",
            decimal_comma=text.decimal_comma,
        )
        header = context.header
        refused = table.refused_swings(header.session)
        already = {r.swing_no for r in header.refused}
        place: dict[str, Any] = {"session": header.session, "file": name}
        for no, row in _first_rows(table.frame).items():
            if no not in header.swings and no not in already and no not in refused:
                what = "session.toml has no such swing"
                todo = "correct the number and deliver the session again"
                at = place | {"swing_no": no, "line": lines[row], "column": "swing_no"}
                refused[no] = refusal("unmatched_swing", what, todo, **at)
        keys = pl.struct("swing_no", "frame", "point")
        for row in table.frame.select(keys.is_duplicated()).to_series().arg_true():
            no = table.frame["swing_no"][int(row)]
            if no is not None and no not in refused:
                at = place | {"swing_no": no, "line": lines[int(row)], "column": "point"}
                refused[no] = refusal("point_twice", "a point appears twice in one frame", _AGAIN, **at)
        good = table.frame.filter(
            ~pl.col("swing_no").is_in([no for no in refused if no is not None])
            & pl.col("swing_no").is_not_null()
        )
        return good.sort("swing_no", "frame", "point"), list(refused.values())


def _first_rows(frame: pl.DataFrame) -> dict[int, int]:
    """First row of each swing number."""
    rows = frame.with_row_index("row").filter(pl.col("swing_no").is_not_null())
    found = rows.group_by("swing_no", maintain_order=True).agg(pl.col("row").first())
    return {int(no): int(row) for no, row in found.iter_rows()}
