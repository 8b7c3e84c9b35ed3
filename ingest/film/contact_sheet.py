"""A contact sheet of a film: a dozen pictures with the marks drawn in, and the way of both heels below.

It is looked at before a film is delivered: are the rings on the tape, and do the names fit?
"""

import tomllib
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.film.following import follow_film
from ingest.film.kept import COLOURS, cut, draw_marks, feet_box, write
from ingest.film.pictures import head_of, pictures
from ingest.film.points import name_marks
from ingest.film.tracks import ADDRESS_PICTURES, Tracks
from warehouse.errors import CallError
from warehouse.vocabulary import POINTS

ACROSS, DOWN, TILE_PX, STRIP_PX, EDGE_PX = 4, 3, 320, 220, 56
INK, PAPER, RULE = (43, 48, 34), (255, 255, 255), (200, 205, 202)  # blue, green, red


@dataclass(frozen=True)
class Preview:
    """What following a film gave: how much of it each mark was seen in, and the sheet's file."""

    seconds: float
    rate: float
    seen_pct: dict[str, float]
    view: str
    handed: str
    sheet: Path | None

    def lines(self) -> list[str]:
        """What to print about it."""
        player = f"{'left' if self.handed == 'left' else 'right'}-hander"
        seen = ", ".join(f"{name.replace('_', ' ')} {share:.0f} %" for name, share in self.seen_pct.items())
        where = "from behind, down the line" if self.view == "down_line" else "from the front"
        lines = [
            f"{self.seconds:.2f} s at {self.rate:.4g} pictures a second; marks seen in: {seen}.",
            f"Named for a {player} filmed {where}; if that is not so, say --hand and --view.",
        ]
        return lines + ([f"Look at it: {self.sheet}"] if self.sheet else [])


def follow(
    film: Path, *, view: str | None, handed: str, sheet: bool, progress: Callable[[int, int, str], None]
) -> Preview:
    """Follow a film's marks and, where wanted, write the contact sheet beside it: FILM.png.

    `progress` is called with pictures done, pictures in all (as the head says) and the place in the film.
    Without `view`, the one in a session.toml in the same folder is used, else down_line.

    Raises
        Refused: the film can't be read, shows no tape or loses it.
        CallError: the sheet can't be written.
    """
    head = head_of(film, film.name)

    def done(seconds: float) -> None:
        progress(round(seconds * head.rate), head.pictures, f"{seconds:.1f} s")

    tracks = follow_film(film, film.name, done)
    seen_from = view or _stated_view(film.parent / "session.toml") or "down_line"
    order = name_marks(np.nanmean(tracks.steady[:ADDRESS_PICTURES], axis=0), seen_from, handed)
    target = film.with_name(f"{film.name}.png")
    if sheet:
        _write(target, _drawn(film, tracks, order))
    shares = 100 * (tracks.scores > 0).mean(axis=0)
    rate = 1.0 / float(np.median(np.diff(tracks.times_s)))
    seen = {name: float(shares[mark]) for name, mark in zip(POINTS, order, strict=True)}
    return Preview(float(tracks.times_s[-1]), rate, seen, seen_from, handed, target if sheet else None)


def _write(target: Path, drawn: NDArray[np.uint8]) -> None:
    _, data = cv2.imencode(".png", drawn)
    try:
        target.write_bytes(data.tobytes())
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise CallError(f"{target} could not be written ({why}); copy the film elsewhere first.") from error


def _stated_view(sheet: Path) -> str | None:
    try:
        found = tomllib.loads(sheet.read_text("utf-8-sig"))["clip"]["view"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found if found in ("face_on", "down_line") else None


def _drawn(film: Path, tracks: Tracks, order: Sequence[int]) -> NDArray[np.uint8]:
    """The sheet: tiles in rows, below them the heels' ways."""
    box = feet_box(tracks)
    size = (TILE_PX, max(2, round(box[3] * TILE_PX / box[2]) // 2 * 2))
    wanted = np.unique(np.linspace(0, len(tracks.times_s) - 1, ACROSS * DOWN).round().astype(int))
    tiles = []
    for n, picture in enumerate(pictures(film, film.name)):
        if n in wanted:
            marks = (tracks.places[n][list(order)] - box[:2]) * (TILE_PX / box[2])
            tile = draw_marks(cut(picture, box, size), marks, {foot: deque(maxlen=1) for foot in COLOURS})
            for colour, bold in ((INK, 3), (PAPER, 1)):
                write(tile, f"{tracks.times_s[n]:.2f} s", (8, size[1] - 10), colour, bold=bold)
            tiles.append(tile)
    blank = np.full((size[1], TILE_PX, 3), 255, np.uint8)
    tiles += [blank] * (ACROSS * DOWN - len(tiles))
    rows = [np.hstack(tiles[row * ACROSS : (row + 1) * ACROSS]) for row in range(DOWN)]
    return np.vstack([*rows, _strip(tracks, order, ACROSS * TILE_PX)])


def _strip(tracks: Tracks, order: Sequence[int], width: int) -> NDArray[np.uint8]:
    """Height of both heels above their place at address, px, over time; a heel out of sight leaves a gap."""
    strip = np.full((STRIP_PX, width, 3), 255, np.uint8)
    down = tracks.steady[:, list(order), 1][:, ::2]
    heels = {foot: np.nanmean(down[:ADDRESS_PICTURES, k]) - down[:, k] for k, foot in enumerate(COLOURS)}
    highest = max(float(np.nanmax(np.stack(list(heels.values())))), 10.0)
    x = EDGE_PX + tracks.times_s / max(tracks.times_s[-1], 1e-9) * (width - 2 * EDGE_PX)
    base, tall = STRIP_PX - 40, STRIP_PX - 80
    for height in (0.0, highest):
        at = round(base - height / highest * tall)
        cv2.line(strip, (EDGE_PX, at), (width - EDGE_PX, at), RULE, 1)
        write(strip, f"{height:.0f} px", (4, at + 4), INK)
    for k, (foot, risen) in enumerate(heels.items()):
        y = base - risen / highest * tall
        for one, two in pairwise(np.column_stack([x, y])):
            if np.isfinite([one, two]).all():
                cv2.line(
                    strip, one.round().astype(int), two.round().astype(int), COLOURS[foot], 2, cv2.LINE_AA
                )
        write(strip, f"{foot} heel", (EDGE_PX + 110 * k, 24), COLOURS[foot])
    for share in np.linspace(0, 1, 6):
        shown = f"{share * tracks.times_s[-1]:.2f} s"
        write(strip, shown, (round(EDGE_PX + share * (width - 2 * EDGE_PX)) - 18, STRIP_PX - 14), INK)
    return strip
