"""A swing's line: the load under each foot over time, small enough for many side by side, or large."""

from collections.abc import Mapping, Sequence

from dashboard import theme

SMALL, EDGE, ROW, LETTER = (220, 84), 6, 15, 6.2  # px
SMALL_POINTS = 120


def swing_line(
    t_s: Sequence[float],
    lead_n: Sequence[float],
    trail_n: Sequence[float],
    posts: Mapping[str, float],
    chosen: str | None = None,
    size: tuple[int, int] = SMALL,
) -> str:
    """Both feet's loads in one ink as SVG, the lead foot's line whole and the trail foot's broken.

    posts: name → seconds, each an upright line. They are named, and one of them is `chosen`, in all sizes but
    the small one; names that would run into one another stand below.
    """
    width, height = size
    step = max(1, len(t_s) // SMALL_POINTS) if size == SMALL else 1
    first, length, most = t_s[0], (t_s[-1] - t_s[0]) or 1.0, max(1.0, *lead_n, *trail_n)
    places = {name: _x(t, first, length, width) for name, t in posts.items()}
    names = {} if size == SMALL else _names(places, width)
    top = EDGE + ROW * len({row for row, _left in names.values()})

    def points(loads: Sequence[float]) -> str:
        return " ".join(
            f"{_x(t, first, length, width):.1f},"
            f"{height - EDGE - (height - EDGE - top) * max(0.0, load) / most:.1f}"
            for t, load in zip(t_s[::step], loads[::step], strict=True)
        )

    def post(name: str, x: float) -> str:
        colour, thick = (theme.SIGNAL, 3) if name == chosen else (theme.QUIET, 1)
        stroke = f'stroke="{colour}" stroke-width="{thick}"'
        line = f'<line x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{height}" {stroke}/>'
        if name not in names:
            return line
        row, left = names[name]
        return f'{line}<text x="{left:.1f}" y="{11 + ROW * row}" font-size="12" fill="{colour}">{name}</text>'

    line = f'fill="none" stroke="{theme.INK}" stroke-width="1.8"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="sans-serif">'
        f'<rect width="{width}" height="{height}" fill="{theme.ASIDE}"/>'
        f"{''.join(post(name, x) for name, x in places.items())}"
        f'<polyline points="{points(lead_n)}" {line}/>'
        f'<polyline points="{points(trail_n)}" {line} stroke-dasharray="5 4"/></svg>'
    )


def _x(t: float, first: float, length: float, width: int) -> float:
    return EDGE + (width - 2 * EDGE) * (t - first) / length


def _names(at: Mapping[str, float], width: int) -> dict[str, tuple[int, float]]:
    """The row of each name, counted from the top, and where it begins, so that none runs into another."""
    ends: list[float] = []
    names = {}
    for name, x in at.items():
        wide = len(name) * LETTER + 8
        left = min(x + 3, width - wide)
        row = next((k for k, end in enumerate(ends) if end <= left), len(ends))
        ends[row : row + 1] = [left + wide]
        names[name] = row, left
    return names
