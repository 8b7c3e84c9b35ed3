"""Clip points (`clip.csv`, `clip*.json`): where heels and toes were seen in each video frame of a swing."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatch

import polars as pl

from ingest.academy import Academy
from ingest.readers.columns import foot_of
from ingest.readers.keypoints import read_keypoints
from ingest.readers.sheet import SessionSheet
from ingest.readers.tables import Table, read_typed
from ingest.readers.text import open_text, read_strings
from ingest.refusing import from_failures, refusal, refuse
from warehouse.contracts.base import Failure
from warehouse.contracts.deliveries import ClipLine
from warehouse.contracts.words import POINTS
from warehouse.errors import Refusal, Refused

_AGAIN = "mend it and deliver the session again"
_NO_ROWS = pl.DataFrame(
    schema={"swing_no": pl.Int64, "frame": pl.Int64, "point": pl.String, "x_px": pl.Float64,
            "y_px": pl.Float64, "score": pl.Float64}
)  # fmt: skip


@dataclass(frozen=True)
class Clips:
    """Rows of academy.clip_point (without session) of the good swings, and the swings refused."""

    frame: pl.DataFrame
    refused: list[Refusal]


def read_clip(data: bytes, sheet: SessionSheet, academy: Academy, file: str = "clip.csv") -> Clips:
    """Read clip.csv; left and right points become lead and trail by the student's hand.

    Raises
        Refused: the file can't be read, its columns do not fit, or `[clip]` or the handedness is missing.
    """
    _wants_table(sheet)
    text = open_text(data, file)
    strings, lines = read_strings(text)
    strings = (
        strings.with_columns(_points(strings, sheet, academy, file))
        if "point" in strings.columns
        else strings
    )
    table = read_typed(
        strings, lines, file, ClipLine, academy.settings.zone, todo="add it", decimal_comma=text.decimal_comma
    )
    refused = _broken_swings(table.frame, {f.index or 0: f for f in reversed(table.broken)}, table, sheet)
    already = {r.swing_no for r in sheet.refused}
    for no, row in _first_rows(table.frame).items():
        if no not in sheet.swings and no not in already and no not in refused:
            what, todo = "session.toml has no such swing", "correct the number and deliver the session again"
            refused[no] = refusal(
                "unmatched_swing",
                what,
                todo,
                session=sheet.session,
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
                session=sheet.session,
                swing_no=no,
                file=file,
                line=lines[int(row)],
                column="point",
            )
    good = table.frame.filter(
        ~pl.col("swing_no").is_in([no for no in refused if no is not None]) & pl.col("swing_no").is_not_null()
    )
    return Clips(good.sort("swing_no", "frame", "point"), list(refused.values()))


def keypoint_files(names: Sequence[str]) -> list[str]:
    """The files among a session's that hold keypoints: clip*.json."""
    return [name for name in names if fnmatch(name.lower(), "clip*.json")]


def read_clips(held: Mapping[str, bytes], sheet: SessionSheet, academy: Academy) -> Clips | None:
    """Read clip.csv and every clip*.json of a session; None when there is neither.

    A bad keypoint file refuses its own swing.

    Raises
        Refused: clip.csv or `[clip]` can't be taken, a keypoint file is nobody's, or a swing has two clips.
    """
    files = _swings_of(sheet, keypoint_files(list(held)))
    clips = read_clip(held["clip.csv"], sheet, academy) if "clip.csv" in held else None
    if not files:
        return clips
    _wants_table(sheet)
    frames, refused = ([clips.frame], list(clips.refused)) if clips else ([], [])
    seen = set(clips.frame["swing_no"]) if clips else set()
    for no, name in files.items():
        if no in seen:
            what = f"swing {no} stands in clip.csv and in {name}"
            raise refuse("clip_twice", what, "deliver one of the two", session=sheet.session, file=name)
        try:
            if name not in held:
                what = f"{name} is not in the session's folder"
                raise refuse("no_samples", what, _AGAIN, file="session.toml", column="clip")
            rows = read_keypoints(held[name], name)
        except Refused as found:
            refused.append(_of_swing(found.refusal, no, sheet.session))
            continue
        rows = rows.with_columns(_points(rows, sheet, academy, name), pl.lit(no, pl.Int64).alias("swing_no"))
        frames.append(rows.select("swing_no", *(name for name in rows.columns if name != "swing_no")))
    columns = ("swing_no", "frame", "point", "x_px", "y_px", "score")
    good = pl.concat([frame.select(columns) for frame in frames]) if frames else _NO_ROWS
    return Clips(good.sort("swing_no", "frame", "point"), refused)


def _of_swing(told: Refusal, no: int, session: str) -> Refusal:
    sentence = f"Swing {no} of {session}, {told.sentence}"
    return replace(told, session=session, swing_no=no, sentence=sentence)


def _swings_of(sheet: SessionSheet, names: Sequence[str]) -> dict[int, str]:
    """Whose each keypoint file is: named by its [[swing]], clip-N.json of swing N, or the only one's."""
    files = {no: swing.clip for no, swing in sheet.swings.items() if swing.clip is not None}
    for name in (name for name in names if name not in files.values()):
        number = re.fullmatch(r"clip-(\d{1,6})\.json", name.lower())
        if number is not None and int(number[1]) in sheet.swings:
            files.setdefault(int(number[1]), name)
        elif name.lower() == "clip.json" and len(sheet.swings) == 1:
            files.setdefault(next(iter(sheet.swings)), name)
        if name not in files.values():
            what = f"{name} is no swing's clip"
            todo = f'name it after its swing, as in clip-1.json, or add clip = "{name}" to its [[swing]]'
            raise refuse("unmatched_swing", what, todo, session=sheet.session, file=name)
    return files


def _wants_table(sheet: SessionSheet) -> None:
    """Refuse a session whose clip says nothing of its frames and scale."""
    if sheet.clip is None:
        what = "there is a clip but session.toml has no [clip] table"
        todo = "add [clip] with fps, shoe_length_mm and view, and deliver the session again"
        raise refuse("no_clip_table", what, todo, session=sheet.session, file="session.toml")


def _points(strings: pl.DataFrame, sheet: SessionSheet, academy: Academy, file: str) -> pl.Series:
    """Point names with lead and trail for left and right."""
    points = strings["point"].str.to_lowercase()
    if not points.str.contains("^(left|right)_").any():
        return points
    handed = academy.people[sheet.student].handed
    if handed is None:
        what = (
            f"left and right feet are given but people.csv does not say which hand {sheet.student} plays with"
        )
        todo = "fill in handed for them and deliver people.csv and the session again"
        raise refuse("no_handedness", what, todo, session=sheet.session, file=file, line=1, column="point")
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
    frame: pl.DataFrame, broken: Mapping[int, Failure], table: Table, sheet: SessionSheet
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
                session=sheet.session,
                swing_no=no,
            )
    return refused
