"""Shoes as meshes of rings along the foot, and how a heel comes up: shapes for films without tape.

The part behind the ball turns up about it, twists and rolls (common practice, no source: a heel rises about the ball of
the foot). BUILT_ON are the shapes that whoever builds a follower may look at.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]
BALL, STANCE_MM = 0.70, 420.0
LIGHT = np.array([0.25, -0.35, 0.9])


@dataclass(frozen=True)
class Shoe:
    """A shape: heights of its bottom and top (mm) at shares of its length, its width, and its colours (BGR)."""

    length_mm: float
    width_mm: float
    top: tuple[tuple[float, float], ...]
    bottom: tuple[tuple[float, float], ...]
    sole: tuple[int, int, int]
    upper: tuple[int, int, int]
    toe: tuple[int, int, int] | None = None  # a second colour in front of the ball
    pattern: bool = False
    leg: tuple[int, int, int] = (90, 70, 60)
    hem_mm: float = 70.0  # how far above the floor the cloth ends
    sways_mm: float = 20.0
    leg_mm: float = 62.0  # half the width of the cloth


TRAINER = ((0.0, 62.0), (0.05, 80.0), (0.3, 84.0), (0.45, 78.0), (0.7, 52.0), (0.9, 42.0), (1.0, 20.0))
SHOES = {
    "dark trainer": Shoe(
        300,
        102,
        TRAINER,
        ((0, 6), (0.06, 0), (0.8, 0), (1, 12)),
        (70, 70, 70),
        (45, 35, 35),
        leg=(150, 165, 170),
    ),
    "white plimsoll": Shoe(
        285,
        96,
        ((0, 55), (0.05, 66), (0.35, 68), (0.5, 62), (0.75, 44), (0.93, 38), (1, 22)),
        ((0, 2), (0.04, 0), (0.9, 0), (1, 6)),
        (205, 205, 200),
        (238, 240, 240),
        leg=(110, 80, 50),
        hem_mm=85,
    ),
    "two-tone brogue": Shoe(
        310,
        98,
        ((0, 58), (0.05, 72), (0.35, 78), (0.5, 70), (0.75, 46), (0.92, 34), (1, 14)),
        ((0, 1), (0.22, 0), (0.25, 9), (0.45, 8), (0.6, 0), (0.85, 0), (1, 10)),
        (30, 30, 35),
        (225, 230, 232),
        toe=(40, 60, 110),
        leg=(60, 60, 60),
    ),
    "loud runner": Shoe(
        295,
        108,
        ((0, 70), (0.05, 90), (0.3, 92), (0.5, 78), (0.75, 56), (0.92, 46), (1, 26)),
        ((0, 14), (0.1, 0), (0.75, 0), (1, 24)),
        (240, 240, 240),
        (40, 90, 235),
        pattern=True,
        leg=(140, 150, 175),
        hem_mm=110,
        sways_mm=4,
        leg_mm=42,
    ),
    "boot under a hem": Shoe(
        315,
        104,
        ((0, 110), (0.05, 130), (0.3, 130), (0.42, 96), (0.7, 60), (0.9, 50), (1, 24)),
        ((0, 2), (0.2, 0), (0.85, 0), (1, 10)),
        (40, 55, 70),
        (55, 85, 125),
        leg=(75, 60, 45),
        hem_mm=38,
        sways_mm=32,
        leg_mm=80,
    ),
    "slim pump": Shoe(
        255,
        82,
        ((0, 48), (0.05, 58), (0.3, 50), (0.5, 40), (0.75, 34), (0.93, 30), (1, 12)),
        ((0, 0), (0.9, 0), (1, 5)),
        (60, 40, 90),
        (90, 50, 150),
        leg=(150, 170, 205),
        hem_mm=62,
        sways_mm=3,
        leg_mm=36,
    ),
}
BUILT_ON = ("dark trainer", "white plimsoll")


def level(along: Any, line: tuple[tuple[float, float], ...]) -> Any:
    """The line's height (mm) at shares of the shoe's length."""
    shares, heights = np.array(line).T
    return np.interp(along, shares, heights)


def bent(points: Array, shoe: Shoe, pitch: float) -> Array:
    """Points of a foot with its heel up: what lies behind the ball turns about it, and the sole creases there."""
    ball = BALL * shoe.length_mm
    share = np.clip((ball + 12 - points[:, 0]) / 24, 0, 1)
    turn = pitch * share * share * (3 - 2 * share)
    x, z = points[:, 0] - ball, points[:, 2]
    return np.stack(
        [ball + x * np.cos(turn) + z * np.sin(turn), points[:, 1], z * np.cos(turn) - x * np.sin(turn)], 1
    )


def placed(points: Array, foot: int, pitch: float, shoe: Shoe) -> Array:
    """On the floor: turned out at address; a heel that rises also twists and rolls a little."""
    twist = np.radians((-6, 14)[foot]) + (0.45, 0.2)[foot] * pitch
    roll = (0.15, -0.1)[foot] * pitch
    x, y, z = points[:, 0] - BALL * shoe.length_mm, points[:, 1], points[:, 2]
    y, z = y * np.cos(roll) - z * np.sin(roll), z * np.cos(roll) + y * np.sin(roll)
    x, y = x * np.cos(twist) - y * np.sin(twist), y * np.cos(twist) + x * np.sin(twist)
    return np.stack([x + BALL * shoe.length_mm, y + foot * STANCE_MM, z], 1)


def mesh(shoe: Shoe) -> tuple[Array, Array, Array]:
    """Points (N, 3), faces of four (M, 4), turned so that their normals point out, and their colours (M, 3)."""
    rings, round_ = 26, 18
    s = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, rings))
    turn = np.linspace(0, 2 * np.pi, round_, endpoint=False)
    top, bottom = level(s, shoe.top), level(s, shoe.bottom)
    half = shoe.width_mm / 2 * (1 - 0.45 * np.abs(2 * s - 1.15) ** 5 - 0.12 * (s < 0.4)).clip(0.3)
    c, d = np.cos(turn), np.sin(turn)
    y = half[:, None] * np.sign(c) * np.abs(c) ** 0.45
    up = (np.sign(d) * np.abs(d) ** 0.45 + 1) / 2
    y *= 1 - 0.35 * np.clip(up - 0.4, 0, 1)  # narrower at its top
    z = bottom[:, None] + (top - bottom)[:, None] * up
    points = np.stack([np.repeat(s * shoe.length_mm, round_), y.ravel(), z.ravel()], 1)
    ring, k = (a.ravel() for a in np.meshgrid(np.arange(rings - 1), np.arange(round_), indexing="ij"))
    at = np.stack([ring * round_ + k, ring * round_ + (k + 1) % round_], 1)
    faces = np.concatenate([at, at[:, ::-1] + round_], 1)
    ends = np.array([[0, *np.arange(1, round_)], [0, *np.arange(1, round_)]]) + np.array(
        [[0], [(rings - 1) * round_]]
    )
    caps = np.stack([ends[:, i : i + 4] for i in range(round_ - 3)], 1).reshape(-1, 4)
    faces = np.concatenate([faces, caps])
    corner = points[faces]
    inside = np.stack(
        [np.clip(corner[..., 0].mean(1), 25, shoe.length_mm - 25), 0 * faces[:, 0], 0 * faces[:, 0]], 1
    )
    inside[:, 2] = 25
    out = (normals(corner) * (corner.mean(1) - inside)).sum(1) < 0
    faces[out] = faces[out][:, ::-1]
    high, along = points[faces][:, :, 2].mean(1), points[faces][:, :, 0].mean(1) / shoe.length_mm
    floor = level(along, shoe.bottom)
    colours = np.where((high - floor < 20)[:, None], shoe.sole, shoe.upper).astype(float)
    if shoe.toe:
        colours[((along > 0.75) | (along < 0.12)) & (high - floor >= 20)] = shoe.toe
    if shoe.pattern:
        loud = np.random.default_rng(5).integers(30, 255, (len(faces), 3))
        colours = np.where(((np.arange(len(faces)) % 3 == 0) & (high - floor >= 20))[:, None], loud, colours)
    return points, faces, colours


def normals(corner: Array) -> Array:
    """(M, 3) of faces (M, 4, 3)."""
    normal = np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1])
    return normal / (np.linalg.norm(normal, axis=1, keepdims=True) + 1e-9)
