"""Films for the tests: heel rises of a plain swing, drawn as the demo draws them, and what is true of them."""

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np

from demo_academy.clips import ClipShot
from demo_academy.films import Look, mark_places, write_film

STANCE_MM = 440.0
SHOE_MM = 300.0
TAPES = [(30, 110, 250), (200, 60, 240), (40, 230, 240), (230, 140, 20), (120, 20, 230)]  # blue, green, red


@dataclass(frozen=True)
class Made:
    """A film and its truth: heel rises (2, G) mm of lead and trail on a fine clock."""

    path: Path
    shot: ClipShot
    look: Look
    grid_s: np.ndarray
    rises: np.ndarray
    times_s: np.ndarray

    @property
    def places(self) -> np.ndarray:
        """(F, 4, 2) px where the marks truly are in each picture, but for the camera's shake."""
        at = np.stack([np.interp(self.times_s, self.grid_s, rise) for rise in self.rises])
        return mark_places(at, self.shot, STANCE_MM, self.look.width)


def heel_rise_curves(seconds: float, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """A lead heel that comes up going back and a trail heel that stays up at the end (mm), each ms."""
    rng = np.random.default_rng(seed)
    grid_s = np.arange(round(seconds * 1000) + 200) / 1000
    top, impact = seconds * rng.uniform(0.52, 0.56), seconds * rng.uniform(0.66, 0.7)
    lead = rng.uniform(8, 60) * np.exp(-(((grid_s - top) / 0.2) ** 2))
    trail = rng.uniform(60, 110) / (1 + np.exp(-(grid_s - impact) / 0.05))
    return grid_s, np.stack([lead - lead[0], trail - trail[0]])


def picture_times(seconds: float, fps: float, uneven: float, seed: int) -> np.ndarray:
    """When each picture is taken, s: at a steady rate, or one whose steps wander by `uneven` (a share, SD)."""
    count, rng = int(seconds * fps), np.random.default_rng(seed + 1)
    steps = 1.0 + uneven * np.clip(rng.normal(0, 1, max(count - 1, 0)), -2.5, 2.5)
    return np.concatenate([[0.0], np.cumsum(steps)]) / fps


def film(
    path: Path,
    *,
    fps: float = 60.0,
    seconds: float = 1.6,
    view: str = "down_line",
    handed: str = "right",
    width: int = 480,
    rise_curves: tuple[np.ndarray, np.ndarray] | None = None,
    seed: int = 0,
    uneven: float = 0.0,
    pause: tuple[float, float] | None = None,
    **look: object,
) -> Made:
    """Write a film and return it with its truth; `pause`: not filmed from when, s, and for how long."""
    how = Look(width=width, height=width * 9 // 32 * 2, seed=seed, **look)
    shot = ClipShot(fps, SHOE_MM, view, 0.95, handed == "right")
    grid_s, rises = heel_rise_curves(seconds, seed) if rise_curves is None else rise_curves
    times_s = picture_times(seconds, fps, uneven, seed)
    if pause is not None:
        times_s = np.where(times_s < pause[0], times_s, times_s + pause[1])
    write_film(path, times_s, rises, grid_s, shot, STANCE_MM, how)
    return Made(path, shot, how, grid_s, rises, times_s)


def on_its_side(source: Path, target: Path, turn: int) -> None:
    """Write a film's pictures turned clockwise by 90, 180 or 270 degrees; its mp4 says how to turn them back.

    What is shown of it is the film as it was: a phone held on its side writes such a file.
    """
    with av.open(str(source)) as held, av.open(str(target), "w") as made:
        stream = None
        for frame in held.decode(video=0):
            laid = np.ascontiguousarray(np.rot90(frame.to_ndarray(format="bgr24"), -turn // 90))
            if stream is None:
                stream = made.add_stream("libx264", rate=60, options={"preset": "ultrafast", "crf": "12"})
                stream.height, stream.width = laid.shape[:2]
                stream.pix_fmt, stream.time_base = "yuv420p", frame.time_base
                stream.codec_context.time_base, stream.thread_count = frame.time_base, 1
            turned = av.VideoFrame.from_ndarray(laid, format="bgr24")
            turned.pts, turned.time_base = frame.pts, frame.time_base
            made.mux(stream.encode(turned))
        made.mux(stream.encode(None))
    data = bytearray(target.read_bytes())
    head = data.index(b"tkhd") + 4
    tall, wide = laid.shape[:2]
    # ISO/IEC 14496-12, 8.3.2: a place (x, y) of the stored picture is shown at (a x + c y + e, b x + d y + f).
    a, b, c, d, e, f = {
        90: (0, -1, 1, 0, 0, wide),
        180: (-1, 0, 0, -1, wide, tall),
        270: (0, 1, -1, 0, tall, 0),
    }[turn]
    matrix = [round(v * 65536) for v in (a, b, 0, c, d, 0, e, f)]
    data[head + 40 : head + 76] = struct.pack(">9i", *matrix, 1 << 30)
    target.write_bytes(data)


def dated(source: Path, target: Path, taken: str, **more: str) -> None:
    """Write a film again as it is, with another time at which it was taken, and `more` keys, in its head."""
    kept = {"movflags": "use_metadata_tags"} if more else {}
    with av.open(str(source)) as held, av.open(str(target), "w", options=kept) as made:
        made.metadata.update({"creation_time": taken} | more)
        stream = made.add_stream_from_template(held.streams.video[0])
        for packet in held.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                made.mux(packet)


def marked(moments: Sequence[Mapping[str, Any]], **more: object) -> dict[str, Any]:
    """What the page Mark a film sends of an ordinary film."""
    form = {
        "id": "a",
        "moments": moments,
        "club": "7-iron",
        "pace": "full",
        "at": "2026-05-05T10:00",
        "offset": 60,
    }
    return form | more
