"""The look of every picture: Altair's theme and a picture's title. Importing this switches the theme on."""

import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import altair as alt
import polars as pl
from altair.utils.schemapi import disable_debug_mode
from babel import Locale

from dashboard import theme
from dashboard.text.catalogue import ENGLISH, _, language, mark
from dashboard.text.numbers import Band

TITLE_WIDTH = 76  # letters a line at desk width
NARROW_TITLE_WIDTH = 40  # letters a line on a phone
NAME = "underfoot"
BAND_ROOM = 0.6  # of a frame that a target's strip may take: a value outside it must have a place
DAY, SHORT_DAY = mark("%-d %B %Y"), mark("%-d %b")  # how Vega writes a day: 7 April 2026, 7 Apr
MINUS = "replace(datum.label, '-', '−')"  # an axis's numbers with a true minus sign
FIT = alt.AutoSizeParams(type="fit-x", contains="padding")  # the page gives the width, the chart its height


def look() -> alt.theme.ThemeConfig:
    """Axis, title and mark defaults."""
    ink, quiet = theme.INK, theme.QUIET
    size = {"labelFontSize": theme.LABEL_SIZE}
    named = {"labelColor": ink, "titleColor": ink, **size}
    axis = {
        "labelColor": quiet, "titleColor": ink, **size, "titleFontSize": theme.LABEL_SIZE,
        "titleFontWeight": "normal", "gridColor": theme.HAIRLINE, "domainColor": quiet, "tickColor": quiet,
        "labelPadding": 4, "titlePadding": 8,
    }  # fmt: skip
    title = {
        "anchor": "start", "color": ink, "fontSize": theme.TITLE_SIZE, "fontWeight": 600, "offset": 12,
        "lineHeight": 20,
    }  # fmt: skip
    config = {
        "font": theme.FONT, "view": {"stroke": None}, "title": title, "axis": axis, "header": named,
        "legend": named, "text": {"color": ink, "fontSize": theme.LABEL_SIZE}, **_locale(),
        "mark": {"tooltip": False},  # else Streamlit shows the columns of every mark that has no `tips`
    }  # fmt: skip
    return alt.theme.ThemeConfig({"background": theme.GROUND, "config": config})


alt.theme.register(NAME, enable=True)(look)
disable_debug_mode()  # checks each axis by itself, for a tenth of a page's time; tests check whole pictures


def _locale() -> dict[str, Any]:
    """How Vega writes numbers and days in the language in use; it knows English by itself."""
    if language() == ENGLISH:
        return {}
    words = Locale.parse(language())
    symbols, days, months = words.number_symbols["latn"], words.days["format"], words.months["format"]
    number = {
        "decimal": symbols["decimal"], "thousands": symbols["group"], "grouping": [3], "currency": ["", ""],
    }  # fmt: skip
    sunday_first, year = (6, 0, 1, 2, 3, 4, 5), range(1, 13)
    time = {
        "dateTime": "%x %X", "date": "%d.%m.%Y", "time": "%H:%M:%S", "periods": ["AM", "PM"],
        "days": [days["wide"][k] for k in sunday_first],
        "shortDays": [days["abbreviated"][k] for k in sunday_first],
        "months": [months["wide"][k] for k in year],
        "shortMonths": [months["abbreviated"][k] for k in year],
    }  # fmt: skip
    return {"locale": {"number": number, "time": time}}


def in_words(values: pl.Series, say: Callable[[Any], str], name: str) -> pl.Series:
    """Values in words, as a column `name`; a gap stays a gap.

    A plain list, because Polars' own `map_elements` calls Python from Polars' threads: they then wait for the
    interpreter's lock while another viewer's thread, which holds it, waits for them, and the server freezes.
    """
    return pl.Series(name, [None if value is None else say(value) for value in values], pl.String)


def title(finding: str, *, narrow: bool = False) -> alt.TitleParams:
    """A picture's title: the finding, broken into lines, because a picture does not break them itself."""
    width = NARROW_TITLE_WIDTH if narrow else TITLE_WIDTH
    kept = re.sub("([▲●▽]) ", "\\1\N{NO-BREAK SPACE}", finding)  # a shape stays beside its word
    return alt.TitleParams(text=textwrap.wrap(kept, width) or [""])


def layered(layers: Sequence[alt.Chart], height: float, finding: str, *, narrow: bool) -> alt.LayerChart:
    """A picture of several layers, as wide as its page."""
    return alt.layer(*layers, autosize=FIT, height=height, title=title(finding, narrow=narrow))


def filled(test: str) -> alt.FillValue:
    """Marks that pass a test filled with ink, the others hollow.

    Spelled as its class, since Altair takes some milliseconds to find the class for `alt.condition`.
    """
    return alt.FillValue(theme.GROUND, condition={"test": test, "value": theme.INK})


def tips(said: Mapping[str, str | tuple[str, str]]) -> list[alt.Tooltip]:
    """A tooltip: field and type, as in n:Q → its name, or its name and number format."""
    return [_tip(field, *([named] if isinstance(named, str) else named)) for field, named in said.items()]


def _tip(field: str, name: str, written: str = ",d") -> alt.Tooltip:
    kinds = {"T": _(DAY), "Q": written}
    return alt.Tooltip(field, title=name, format=kinds.get(field[-1], alt.Undefined))


def reach(values: Iterable[float | None], band: Band, margin: float = 0.15) -> tuple[float, float]:
    """The ends of a scale that holds `values` and `band` with a margin; the band has `BAND_ROOM` at most."""
    found = [v for v in (*values, *band) if v is not None] or [0.0, 1.0]
    low, high = min(found), max(found)
    beside = margin * (high - low) if high > low else 0.1 * abs(high) or 1.0
    low, high = low - beside, high + beside
    lo, hi = strip(band, low, high)
    if lo is None or hi is None:
        return low, high
    missing = max(0.0, (hi - lo) / BAND_ROOM - (high - low))
    upward = 1.0 if band[0] is None else 0.0 if band[1] is None else 0.5
    return low - (1 - upward) * missing, high + upward * missing


def strip(band: Band, low: float, high: float) -> Band:
    """A band as it is drawn: an open side reaches the edge of its frame. (None, None) for no band."""
    lo, hi = band
    return band if band == (None, None) else (low if lo is None else lo, high if hi is None else hi)


def name_axis(*, padding: int = 10, grid: bool | None = None) -> alt.Axis:
    """The axis of names that `on_lines` or `broken` made: no line, no ticks, nothing cut off."""
    more = {} if grid is None else {"grid": grid}
    return alt.Axis(
        labelExpr=r"split(datum.label, '\n')", labelLimit=0, labelPadding=padding, domain=False, ticks=False,
        **more,
    )  # fmt: skip


def dots(
    rows: pl.DataFrame,
    x: alt.X,
    y: alt.Y,
    ends: tuple[str, str],
    tips: list[alt.Tooltip],
    *,
    fill: alt.Fill | alt.FillValue | None = None,
) -> list[alt.Chart]:
    """A dot a row with a bar between its `ends`, and a dashed line at 0."""
    base, (lo, hi) = alt.Chart(rows), ends
    zero = alt.Chart(pl.DataFrame({"at": [0.0]})).mark_rule(color=theme.QUIET, strokeDash=[2, 3])
    bars = base.mark_rule(color=theme.INK, strokeWidth=1.6, clip=True)
    points = base.mark_point(shape="circle", size=80, stroke=theme.INK, strokeWidth=1.6, opacity=1)
    return [
        zero.encode(x=alt.X("at:Q")),
        bars.encode(x=alt.X(f"{lo}:Q"), x2=alt.X2(f"{hi}:Q"), y=y),
        points.encode(x=x, y=y, fill=fill or alt.FillValue(theme.INK), tooltip=tips),
    ]


def on_lines(name: str, letters: int) -> str:
    """A name on lines of at most that many letters."""
    return "\n".join(textwrap.wrap(name, letters))


def broken(names: pl.Series, letters: int) -> pl.Series:
    """Names, each on lines of at most that many letters, as column `row`."""
    return in_words(names, lambda name: on_lines(name, letters), "row")
