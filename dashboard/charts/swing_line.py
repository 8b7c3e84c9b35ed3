"""A swing's line: the load under each foot over time, small for many side by side, or large to tap."""

from collections.abc import Mapping, Sequence

import altair as alt
import polars as pl

from dashboard import theme
from dashboard.charts import look as _look  # noqa: F401 - switches the theme on

SMALL, EDGE, ROW, LETTER = (220, 84), 6, 15, 6.2  # px
SMALL_POINTS = 120
TAP, TIME = "tap", "t_s"  # the selection of a large picture, and the field that a tap gives


def swing_line(
    t_s: Sequence[float], lead_n: Sequence[float], trail_n: Sequence[float], posts: Mapping[str, float]
) -> str:
    """Both feet's loads in one ink as a small SVG, the lead foot's line whole and the trail foot's broken.

    posts: name → seconds, each an upright line.
    """
    width, height = SMALL
    step = max(1, len(t_s) // SMALL_POINTS)
    first, length, most = t_s[0], (t_s[-1] - t_s[0]) or 1.0, max(1.0, *lead_n, *trail_n)

    def across(t: float) -> float:
        return EDGE + (width - 2 * EDGE) * (t - first) / length

    def points(loads: Sequence[float]) -> str:
        return " ".join(
            f"{across(t):.1f},{height - EDGE - (height - 2 * EDGE) * max(0.0, load) / most:.1f}"
            for t, load in zip(t_s[::step], loads[::step], strict=True)
        )

    def upright(t: float) -> str:
        x = f"{across(t):.1f}"
        return f'<line x1="{x}" x2="{x}" y1="0" y2="{height}" stroke="{theme.QUIET}"/>'

    line = f'fill="none" stroke="{theme.INK}" stroke-width="1.8"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}">'
        f'<rect width="{width}" height="{height}" fill="{theme.ASIDE}"/>'
        f"{''.join(map(upright, posts.values()))}"
        f'<polyline points="{points(lead_n)}" {line}/>'
        f'<polyline points="{points(trail_n)}" {line} stroke-dasharray="5 4"/></svg>'
    )


def large(
    rows: Sequence[tuple[float, float, float]],
    posts: Mapping[str, float],
    chosen: str,
    size: tuple[int, int],
) -> alt.LayerChart:
    """The same, of rows of seconds and both feet's loads, its posts named and one of them `chosen`.

    A tap anywhere selects, as TAP, the TIME of the nearest sample. Names that would run into one another
    stand below each other.
    """
    (width, height), first, last = size, rows[0][0], rows[-1][0]
    scale = alt.Scale(domain=[first, last], range=[EDGE, width - EDGE], nice=False)
    length, inner = (last - first) or 1.0, width - 2 * EDGE
    names = _names({name: EDGE + inner * (t - first) / length for name, t in posts.items()}, width)
    top = EDGE + ROW * len({row for row, _left in names.values()})
    most = max(1.0, *(load for _t, *loads in rows for load in loads))
    newton = most / (height - top - EDGE)  # a px
    loads = alt.Scale(domain=[-EDGE * newton, most + top * newton], nice=False)
    base = alt.Chart(pl.DataFrame(rows, schema=[TIME, "lead", "trail"], orient="row"))
    x = alt.X(f"{TIME}:Q", scale=scale, axis=None)
    tap = alt.selection_point(name=TAP, encodings=["x"], nearest=True, on="click", clear=False)
    layers = [
        base.mark_line(color=theme.INK, strokeWidth=1.8, strokeDash=dash).encode(
            x=x, y=alt.Y(f"{foot}:Q", scale=loads, axis=None)
        )
        for foot, dash in (("lead", [1, 0]), ("trail", [5, 4]))
    ]
    for name, t in posts.items():
        row, left = names[name]
        colour, thick = (theme.SIGNAL, 3) if name == chosen else (theme.QUIET, 1)
        at = {TIME: t, "left": first + length * (left - EDGE) / inner}
        post = alt.Chart(pl.DataFrame([at]))
        text = post.mark_text(text=name, align="left", baseline="middle", color=colour, fontSize=12)
        layers += [
            post.mark_rule(color=colour, strokeWidth=thick).encode(x=x),
            text.encode(x=alt.X("left:Q", scale=scale, axis=None), y=alt.YValue(8 + ROW * row)),
        ]
    layers.append(base.mark_point(opacity=0).encode(x=x, y=alt.YValue(height / 2)).add_params(tap))
    return alt.layer(*layers, width=width, height=height, padding=0, background=theme.ASIDE)


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
