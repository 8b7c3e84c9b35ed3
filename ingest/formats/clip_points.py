"""Clip points (`clip.csv`): where heels and toes were seen in each video frame of a swing."""

from collections.abc import Mapping

import polars as pl

from ingest.delimited import open_text, read_strings
from ingest.formats.format import PointTableFormat, SessionContext
from ingest.formats.keypoints import named_points
from ingest.refusals import from_failures, refusal
from ingest.session_file import SessionHeader
from ingest.tables import Table, TableFormat, read_typed
from warehouse.contracts.base import Failure
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
        strings = (
            strings.with_columns(named_points(strings, context, name))
            if "point" in strings.columns
            else strings
        )
        table = read_typed(
            strings,
            lines,
            name,
            ClipLine,
            context.academy.settings.zone,
            todo="add it",
            decimal_comma=text.decimal_comma,
        )
        refused = _broken_swings(
            table.frame, {f.index or 0: f for f in reversed(table.broken)}, table, context.header
        )
        header = context.header
        already = {r.swing_no for r in header.refused}
        for no, row in _first_rows(table.frame).items():
            if no not in header.swings and no not in already and no not in refused:
                what, todo = (
                    "session.toml has no such swing",
                    "correct the number and deliver the session again",
                )
                refused[no] = refusal(
                    "unmatched_swing",
                    what,
                    todo,
                    session=header.session,
                    swing_no=no,
                    file=name,
                    line=lines[row],
                    column="swing_no",
                )
        duplicates = (
            table.frame.select(pl.struct("swing_no", "frame", "point").is_duplicated()).to_series().arg_true()
        )
        for row in duplicates:
            no = table.frame["swing_no"][int(row)]
            if no is not None and no not in refused:
                what = "a point appears twice in one frame"
                refused[no] = refusal(
                    "point_twice",
                    what,
                    _AGAIN,
                    session=header.session,
                    swing_no=no,
                    file=name,
                    line=lines[int(row)],
                    column="point",
                )
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


def _broken_swings(
    frame: pl.DataFrame, broken: Mapping[int, Failure], table: Table, header: SessionHeader
) -> dict[int | None, Refusal]:
    """Each swing with a broken line is refused, by its first."""
    refused: dict[int | None, Refusal] = {}
    for row, failure in sorted(broken.items()):
        no = frame["swing_no"][row]
        if no not in refused:
            refused[no] = from_failures(
                [failure],
                file=table.file,
                line_of=table.line_of,
                todo=_AGAIN,
                session=header.session,
                swing_no=no,
            )
    return refused
