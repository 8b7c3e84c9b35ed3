"""Pictures as files: the same chart as a page shows, drawn without a browser, as SVG or as PNG."""

import altair as alt
import vl_convert

WIDTH = 760  # px; a picture that takes the page's width on screen has this one in a file
DOTS = 2.0  # a PNG has this many dots a px, so that it stays sharp on paper


def svg(chart: alt.TopLevelMixin, width: int = WIDTH) -> str:
    """The chart as an SVG text: no script, nothing fetched."""
    drawn: str = vl_convert.vegalite_to_svg(_spec(chart, width))
    return drawn


def png(chart: alt.TopLevelMixin, width: int = WIDTH) -> bytes:
    """The chart as the bytes of a PNG file."""
    drawn: bytes = vl_convert.vegalite_to_png(_spec(chart, width), scale=DOTS)
    return drawn


def finding(chart: alt.TopLevelMixin) -> str:
    """The picture's title, which is its finding, in one line."""
    title = getattr(chart, "title", alt.Undefined)
    text = getattr(title, "text", title)
    if isinstance(text, str):
        return text
    return " ".join(text) if isinstance(text, list) else ""


def _spec(chart: alt.TopLevelMixin, width: int) -> dict[str, object]:
    """The chart's description; one that fits its page is given `width`, small multiples keep theirs."""
    fits = getattr(chart, "autosize", alt.Undefined) is not alt.Undefined
    spec: dict[str, object] = (chart.properties(width=width) if fits else chart).to_dict()
    return spec
