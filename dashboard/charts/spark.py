"""Spark: one measure over a person's last visits against its target, small enough for a line of a list."""

from collections.abc import Sequence

from dashboard import theme
from dashboard.charts import look
from dashboard.text.numbers import Band

WIDTH, HEIGHT, EDGE = 120, 40, 6  # px
VISITS = 10  # the last ones


def spark(values: Sequence[float], band: Band) -> str:
    """The last of `values`, oldest first, over the pale band, as SVG."""
    shown = list(values[-VISITS:])
    low, high = look.reach(shown, band, margin=0.0)
    reach = high - low

    def across(place: int) -> float:
        return EDGE + (WIDTH - 2 * EDGE) * (place / (len(shown) - 1) if len(shown) > 1 else 1.0)

    def down(value: float) -> float:
        return EDGE + (HEIGHT - 2 * EDGE) * (high - value) / reach

    top = 0.0 if band[1] is None else down(band[1])
    strip = (HEIGHT if band[0] is None else down(band[0])) - top if band != (None, None) else 0.0
    points = [(round(across(place), 1), round(down(value), 1)) for place, value in enumerate(shown)]
    line = " ".join(f"{x},{y}" for x, y in points)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<rect y="{top:.1f}" width="{WIDTH}" height="{strip:.1f}" fill="{theme.BAND}"/>'
        f'<polyline points="{line}" fill="none" stroke="{theme.QUIET}" stroke-width="1.2"/>'
        + "".join(f'<circle cx="{x}" cy="{y}" r="1.8" fill="{theme.QUIET}"/>' for x, y in points[:-1])
        + f'<circle cx="{points[-1][0]}" cy="{points[-1][1]}" r="3.6" fill="{theme.INK}"/></svg>'
    )
