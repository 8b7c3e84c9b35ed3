"""One look for every picture: the colours, and the Altair theme that carries them.

Contrast on white (WCAG 2 relative luminance): ink 13.8, lead 7.2, signal 7.0, quiet 6.0; trail 3.8, which is
enough for a mark (3 : 1) and too little for small text (4.5 : 1), so words about the trail foot are in ink.
"""

import re
import textwrap

import altair as alt

LEAD = "#0B5C8E"
TRAIL = "#C7691B"
BAND = "#DDE6E0"
INK = "#22302B"
SIGNAL = "#7A3E9D"
GROUND = "#FFFFFF"
QUIET = "#5B6661"  # axis labels and what came before
HAIRLINE = "#E6EAE7"

FONT = "'Source Sans', system-ui, 'Segoe UI', Roboto, 'DejaVu Sans', sans-serif"
TITLE_SIZE = 15
LABEL_SIZE = 12
TITLE_WIDTH = 76  # letters a line at desk width
NARROW_TITLE_WIDTH = 44  # letters a line on a phone
NAME = "underfoot"
FIT = alt.AutoSizeParams(type="fit-x", contains="padding")  # the page gives the width, the chart its height


@alt.theme.register(NAME, enable=True)
def look() -> alt.theme.ThemeConfig:
    """Axis, title and mark defaults. Importing this module switches the theme on."""
    return alt.theme.ThemeConfig(
        {
            "background": GROUND,
            "config": {
                "font": FONT,
                "view": {"stroke": None},
                "title": {
                    "anchor": "start", "color": INK, "fontSize": TITLE_SIZE, "fontWeight": 600,
                    "offset": 12, "lineHeight": 20,
                },
                "axis": {
                    "labelColor": QUIET, "titleColor": INK, "labelFontSize": LABEL_SIZE,
                    "titleFontSize": LABEL_SIZE, "titleFontWeight": "normal", "gridColor": HAIRLINE,
                    "domainColor": QUIET, "tickColor": QUIET, "labelPadding": 4, "titlePadding": 8,
                },
                "header": {"labelColor": INK, "labelFontSize": LABEL_SIZE, "titleColor": INK},
                "legend": {"labelColor": INK, "titleColor": INK, "labelFontSize": LABEL_SIZE},
                "text": {"color": INK, "fontSize": LABEL_SIZE},
            },
        }
    )  # fmt: skip


def title(finding: str, *, narrow: bool = False) -> alt.TitleParams:
    """A picture's title: the finding, broken into lines, because a picture does not break them itself."""
    width = NARROW_TITLE_WIDTH if narrow else TITLE_WIDTH
    kept = re.sub("([▲●▽]) ", "\\1\N{NO-BREAK SPACE}", finding)  # a shape stays beside its word
    return alt.TitleParams(text=textwrap.wrap(kept, width) or [""])
