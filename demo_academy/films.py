"""Foot-level films drawn from known heel rises: two shoes with tape at heel and toe before a busy background.

The picture is drawn where a phone on a low stand would see it: from behind the player down the line the far
(lead) shoe is higher in the picture and smaller; from the front the toes come toward the camera.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from demo_academy.clips import ClipShot
from demo_academy.curves import Array
from warehouse.vocabulary import POINTS

TAPE_MM = 22.0
TICK = Fraction(1, 90_000)
SUB = 4  # cv2 takes places in sixteenths of a pixel


@dataclass(frozen=True)
class Look:
    """How a film looks: size, tape and background, what blurs and shakes it, and what gets in the way."""

    width: int = 640
    height: int = 360
    tape: tuple[int, int, int] | None = (30, 110, 250)  # blue, green, red; None films shoes without tape
    exposure: float = 0.5  # of the time between pictures; movement blurs over it
    jitter_px: float = 0.4
    soft_px: float = 0.0  # SD of the lens's blur
    noise: float = 4.0  # SD of the pictures' noise, of 255
    hidden: tuple[str, float, float] | None = None  # a point behind something, from … to (s)
    body: bool = False  # legs and more of the player above the shoes
    shoe: tuple[int, int, int] = (52, 48, 45)
    shoe_width_mm: float | None = None  # at the ball: from the front shoes are solids; None: flat ones
    saturation: float = 1.0  # of the background
    seed: int = 0


def mark_places(rises: Array, shot: ClipShot, stance_mm: float, width: int) -> Array:
    """(F, 4, 2) px of lead heel and toe, trail heel and toe, from `rises` (2, F) mm."""
    scale, way = shot.scale * width / 1280.0, 1 if shot.toes_right else -1
    height = width * 9 / 16
    out = np.empty((rises.shape[1], 4, 2))
    for k, foot in enumerate(("lead", "trail")):
        far = foot == "lead" and shot.view == "down_line"
        size = scale * (0.85 if far else 1.0)
        if shot.view == "down_line":
            heel = np.array(
                [width / 2 - way * shot.shoe_mm * scale * (0.5 - 0.2 * far), (0.82 - 0.24 * far) * height]
            )
            to_toe = np.array([way * shot.shoe_mm * size, 0.0])
        else:
            side = way if foot == "lead" else -way
            heel = np.array([width / 2 + side * stance_mm * scale / 2, 0.70 * height])
            flare = 0.42 if foot == "lead" else 0.25
            to_toe = np.array([side * flare, 0.22]) * shot.shoe_mm * size
        toe = heel + to_toe
        style = np.sign(toe[0] - heel[0]) * rises[k] ** 2 / (2 * shot.shoe_mm) * size
        out[:, 2 * k, 0], out[:, 2 * k, 1] = heel[0] + style, heel[1] - rises[k] * size
        out[:, 2 * k + 1] = toe
    return out


def write_film(
    path: Path, times: Array, rises: Array, grid_s: Array, shot: ClipShot, stance_mm: float, look: Look
) -> None:
    """Write a film with a picture at each of `times`; `rises` (2, G) mm are given at `grid_s` (G,)."""
    rng = np.random.default_rng(look.seed)
    backdrop = _backdrop(look, rng)
    with av.open(str(path), "w", options={"movflags": "faststart"}) as container:
        stream = container.add_stream(
            "libx264", rate=round(shot.fps), options={"preset": "ultrafast", "crf": "20"}
        )
        stream.width, stream.height, stream.pix_fmt = look.width, look.height, "yuv420p"
        stream.thread_count = 1
        stream.time_base = stream.codec_context.time_base = TICK
        noise = [
            np.repeat(rng.normal(0, look.noise, (look.height, look.width, 1)).astype(np.int16), 3, axis=2)
            for _ in range(5)
        ]
        for n, at in enumerate(times):
            shake = rng.normal(0, look.jitter_px, 2)
            moments = at + np.linspace(-0.5, 0.5, 5) * look.exposure / shot.fps
            both = np.stack([np.interp(moments, grid_s, rise) for rise in rises])
            places = mark_places(both, shot, stance_mm, look.width) + shake
            picture = _exposed(backdrop, float(at), places, shot, look, shake)
            if look.soft_px > 0:
                picture = cv2.GaussianBlur(picture, (0, 0), look.soft_px)
            picture = cv2.add(picture, noise[n % 5], dtype=cv2.CV_8U)  # from 0 to 255, as it saturates
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts, frame.time_base = round(float(at) / TICK), TICK
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _backdrop(look: Look, rng: np.random.Generator) -> Array:
    """Grass below and blotches above, wider than the picture so that it can drift."""
    wide = look.width + 80
    shade, colour = rng.uniform(70, 150, (18, 40, 1)), rng.uniform(-40, 40, (18, 40, 3))
    coarse = shade + look.saturation * colour
    picture = cv2.resize(coarse, (wide, look.height), interpolation=cv2.INTER_CUBIC)
    floor = int(0.45 * look.height)
    blades = cv2.GaussianBlur(rng.normal(0, 60, (look.height - floor, wide, 1)), (0, 0), 1.2)[..., None]
    picture[floor:] = 0.25 * picture[floor:] + np.array([45.0, 95.0, 70.0]) + blades
    return picture.clip(0, 255).astype(np.uint8)


def _exposed(backdrop: Array, at: float, places: Array, shot: ClipShot, look: Look, shake: Array) -> Array:
    """One picture: the mean of what is seen at the moments of its exposure; places (M, 4, 2)."""
    drift = int(40 + 35 * np.sin(2.2 * at))
    ground = backdrop[:, drift : drift + look.width].copy()
    ground[int(0.45 * look.height) :] = backdrop[int(0.45 * look.height) :, 40 : 40 + look.width]
    shift = np.array([[1, 0, shake[0]], [0, 1, shake[1]]])
    ground = cv2.warpAffine(ground, shift, (look.width, look.height), borderMode=cv2.BORDER_REPLICATE)
    scale = shot.scale * look.width / 1280.0
    box = _box(places, scale, shot, look)
    total = np.zeros(ground[box].shape, dtype=np.uint16)
    picture = ground.copy()
    for now in places:
        picture[box] = ground[box]
        if look.body:
            _legs(picture, now, scale)
        for foot in (0, 2):
            if look.shoe_width_mm is not None and shot.view == "face_on":
                _solid_shoe(picture, now[foot], now[foot + 1], shot.shoe_mm, scale, look)
            else:
                _shoe(picture, now[foot], now[foot + 1], scale, look)
            _tape(picture, now[foot], now[foot + 1], scale, look)
        if look.hidden is not None and look.hidden[1] <= at < look.hidden[2]:
            _bar(picture, places[0][POINTS.index(look.hidden[0])], scale)
        total += picture[box]
    picture[box] = total // len(places)
    return picture.astype(np.int16)


def _box(places: Array, scale: float, shot: ClipShot, look: Look) -> tuple[slice, slice]:
    """The rows and columns outside which nothing is drawn on the ground: the feet, and legs up to the top."""
    around = 0.75 * (shot.shoe_mm + (look.shoe_width_mm or 0.0)) * scale
    x, y = places[..., 0], places[..., 1]
    left, right, top = x.min(), x.max(), y.min() - around
    if look.body:  # legs lean toward the middle
        left, right, top = min(left, look.width / 2), max(right, look.width / 2), 0
    rows, columns = (top, y.max() + around), (left - around, right + around)
    return slice(*(max(int(at), 0) for at in rows)), slice(*(max(int(at), 0) for at in columns))


def _shoe(picture: Array, heel: Array, toe: Array, scale: float, look: Look) -> None:
    """A dark shoe from heel to toe, drawn flat."""
    along, up = _axes(heel, toe)
    tall = 75.0 * scale
    tip = toe + 0.2 * tall * along
    outline = [
        heel - 0.35 * tall * up, tip - 0.35 * tall * up, tip + 0.3 * tall * up,
        (heel + toe) / 2 + 0.8 * tall * up, heel + tall * up, heel - 0.2 * tall * along,
    ]  # fmt: skip
    _fill(picture, outline, look.shoe)


def _axes(heel: Array, toe: Array) -> tuple[Array, Array]:
    along = (toe - heel) / max(float(np.hypot(*(toe - heel))), 1.0)
    return along, np.array([along[1], -along[0]]) * (1 if along[0] >= 0 else -1)


SHOE_AT = np.array([0.0, 0.05, 0.2, 0.5, 0.72, 0.85, 0.95, 1.0, 1.06])  # of the way from heel to toe mark
SHOE_HALF = np.array([0.27, 0.32, 0.33, 0.40, 0.50, 0.47, 0.40, 0.35, 0.20])  # of the shoe's width
SHOE_TALL = np.array([0.27, 0.28, 0.28, 0.25, 0.21, 0.18, 0.16, 0.15, 0.10])  # of the way
MARK_ABOVE = 0.06  # the floor, of the way


def _solid_shoe(picture: Array, heel: Array, toe: Array, shoe_mm: float, scale: float, look: Look) -> None:
    """A solid shoe, drawn slice by slice from the back to the front.

    How far it is turned out and how far the camera looks down follow from where its marks are: across the
    picture the distance between them is the shoe's length times sin(turn), down it times cos(turn) sin(tilt).
    """
    long, wide = shoe_mm * scale, (look.shoe_width_mm or 0.0) * scale
    sine = float(np.clip((toe - heel)[0] / long, -0.99, 0.99))
    cosine = math.sqrt(1 - sine**2)
    tilt = float(np.clip((toe - heel)[1] / (long * cosine), -0.99, 0.99))
    for at in np.linspace(0.0, SHOE_AT[-1], 40):
        floor = heel + at * (toe - heel) + np.array([0.0, MARK_ABOVE * long])
        half = np.interp(at, SHOE_AT, SHOE_HALF) * wide * np.array([cosine, -sine * tilt])
        up = np.array([0.0, -np.interp(at, SHOE_AT, SHOE_TALL) * long])
        slice_at = [floor - half, floor + half, floor + 0.75 * half + up, floor - 0.75 * half + up]
        _fill(picture, slice_at, look.shoe)


def _tape(picture: Array, heel: Array, toe: Array, scale: float, look: Look) -> None:
    """A square of tape at heel and toe."""
    if look.tape is None:
        return
    along, up = _axes(heel, toe)
    half = TAPE_MM * scale / 2
    for mark in (heel, toe):
        corners = [mark + half * (a * along + b * up) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        _fill(picture, corners, look.tape)


def _legs(picture: Array, now: Array, scale: float) -> None:
    for foot in (0, 2):
        ankle = now[foot] + 0.25 * (now[foot + 1] - now[foot])
        top = np.array([ankle[0] + 0.1 * (picture.shape[1] / 2 - ankle[0]), 0.0])
        wide = np.array([45.0 * scale, 0.0])
        _fill(picture, [ankle - wide, ankle + wide, top + 1.6 * wide, top - 1.6 * wide], (120, 90, 80))


def _bar(picture: Array, place: Array, scale: float) -> None:
    """Something grey in the way: a club or an alignment stick held across."""
    wide, tall = np.array([32.0 * scale, 0.0]), np.array([0.0, 60.0 * scale])
    corners = [place - wide - tall, place + wide - tall, place + wide + tall, place - wide + tall]
    _fill(picture, corners, (128, 132, 130))


def _fill(picture: Array, corners: Sequence[Array], colour: tuple[int, int, int]) -> None:
    points = np.round(np.array(corners) * (1 << SUB)).astype(np.int32)
    cv2.fillConvexPoly(picture, points, colour, lineType=cv2.LINE_AA, shift=SUB)
