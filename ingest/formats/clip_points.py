"""Clip points (`clip.csv`): where heels and toes were seen in each video frame of a swing."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from ingest.academy import Academy
from ingest.delimited import open_text, read_strings
from ingest.formats.plate_columns import foot_of
from ingest.refusals import from_failures, refusal, refuse
from ingest.session_file import ClipSettings, SessionHeader
from ingest.tables import Table, read_typed
from warehouse.contracts.base import Failure
from warehouse.contracts.deliveries import ClipLine
from warehouse.errors import Refusal
from warehouse.vocabulary import POINTS

_AGAIN = "mend it and deliver the session again"
NO_ROWS = pl.DataFrame(
    schema={"swing_no": pl.Int64, "frame": pl.Int64, "point": pl.String, "x_px": pl.Float64,
            "y_px": pl.Float64, "score": pl.Float64}
)  # fmt: skip


@dataclass(frozen=True)
class Clips:
    """Rows of academy.clip_point (without session) of the good swings, and the swings refused."""

    frame: pl.DataFrame
    refused: list[Refusal]


def read_clip(data: bytes, header: SessionHeader, academy: Academy, file: str = "clip.csv") -> Clips:
    """Read clip.csv; left and right points become lead and trail by the student's hand.

    Raises
        Refused: the file can't be read, its columns do not fit, or `[clip]` or the handedness is missing.
    """
    clip_table(header)
    text = open_text(data, file)
    strings, lines = read_strings(text)
    strings = (
        strings.with_columns(named_points(strings, header, academy, file))
        if "point" in strings.columns
        else strings
    )
    table = read_typed(
        strings, lines, file, ClipLine, academy.settings.zone, todo="add it", decimal_comma=text.decimal_comma
    )
    refused = _broken_swings(table.frame, {f.index or 0: f for f in reversed(table.broken)}, table, header)
    already = {r.swing_no for r in header.refused}
    for no, row in _first_rows(table.frame).items():
        if no not in header.swings and no not in already and no not in refused:
            what, todo = "session.toml has no such swing", "correct the number and deliver the session again"
            refused[no] = refusal(
                "unmatched_swing",
                what,
                todo,
                session=header.session,
                swing_no=no,
                file=file,
                line=lines[row],
                column="swing_no",
            )
    twice = table.frame.select(pl.struct("swing_no", "frame", "point").is_duplicated()).to_series().arg_true()
    for row in twice:
        no = table.frame["swing_no"][int(row)]
        if no is not None and no not in refused:
            what = "a point stands twice in one frame"
            refused[no] = refusal(
                "point_twice",
                what,
                _AGAIN,
                session=header.session,
                swing_no=no,
                file=file,
                line=lines[int(row)],
                column="point",
            )
    good = table.frame.filter(
        ~pl.col("swing_no").is_in([no for no in refused if no is not None]) & pl.col("swing_no").is_not_null()
    )
    return Clips(good.sort("swing_no", "frame", "point"), list(refused.values()))


def clip_table(header: SessionHeader) -> ClipSettings:
    """The session's `[clip]`.

    Raises
        Refused: its clip says nothing of its frames and scale.
    """
    if header.clip is None:
        what = "there is a clip but session.toml has no [clip] table"
        todo = "add [clip] with fps, shoe_length_mm and view, and deliver the session again"
        raise refuse("no_clip_table", what, todo, session=header.session, file="session.toml")
    return header.clip


def named_points(strings: pl.DataFrame, header: SessionHeader, academy: Academy, file: str) -> pl.Series:
    """Point names with lead and trail for left and right.

    Raises
        Refused: the student's hand is not known.
    """
    points = strings["point"].str.to_lowercase()
    if not points.str.contains("^(left|right)_").any():
        return points
    handed = academy.people[header.student].handed
    if handed is None:
        what = "left and right feet are given but people.csv does not say which hand "
        what += f"{header.student} plays with"
        todo = "fill in handed for them and deliver people.csv and the session again"
        raise refuse("no_handedness", what, todo, session=header.session, file=file, line=1, column="point")
    names: Mapping[str, str] = {
        f"{side}_{part}": f"{foot_of(side, handed)}_{part}"
        for side in ("left", "right")
        for part in ("heel", "toe")
    } | {point: point for point in POINTS}
    return points.replace(names).alias("point")


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
