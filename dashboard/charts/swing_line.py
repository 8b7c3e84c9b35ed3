"""A swing's line: the load under each foot over time, small enough for many side by side."""

from collections.abc import Sequence

from dashboard import theme

WIDTH, HEIGHT, EDGE = 220, 84, 6  # px


def swing_line(t_s: Sequence[float], lead_n: Sequence[float], trail_n: Sequence[float]) -> str:
    """Both feet's loads in one ink as SVG, the lead foot's line whole and the trail foot's broken."""
    length, most = (t_s[-1] - t_s[0]) or 1.0, max(1.0, *lead_n, *trail_n)

    def points(loads: Sequence[float]) -> str:
        return " ".join(
            f"{EDGE + (WIDTH - 2 * EDGE) * (t - t_s[0]) / length:.1f},"
            f"{HEIGHT - EDGE - (HEIGHT - 2 * EDGE) * max(0.0, load) / most:.1f}"
            for t, load in zip(t_s, loads, strict=True)
        )

    line = f'fill="none" stroke="{theme.INK}" stroke-width="1.8"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{theme.ASIDE}"/>'
        f'<polyline points="{points(lead_n)}" {line}/>'
        f'<polyline points="{points(trail_n)}" {line} stroke-dasharray="5 4"/></svg>'
    )
