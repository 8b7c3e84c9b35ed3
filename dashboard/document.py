"""Pages on paper: one self-contained HTML document from a Jinja2 template; no script, nothing fetched.

A page's `paper.html` extends `document.html`, which holds the head and the common style, and fills its blocks
`title`, `style` and `body`; `document_parts.html` has macros for a picture and a table. Values are escaped.
"""

from pathlib import Path
from typing import Any

import altair as alt
import jinja2
import vl_convert
from markupsafe import Markup

from dashboard import theme
from dashboard.text import catalogue
from dashboard.text.numbers import on


def svg(chart: alt.TopLevelMixin, words: str, width: int, height: int | None = None) -> Markup:
    """A chart as inline SVG, with `words` as its text alternative; `width` and `height` in px."""
    sized = chart.properties(width=width) if height is None else chart.properties(width=width, height=height)
    drawing = vl_convert.vegalite_to_svg(sized.to_dict(validate=False))  # its parts were checked when made
    label = Markup('<svg role="img" aria-label="{}" ').format(words)
    return Markup(drawing.replace("<svg ", label, 1))  # noqa: S704 - the renderer escapes the chart's own text


_templates = jinja2.Environment(
    loader=jinja2.FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_templates.globals |= {
    "_": catalogue._,
    "ngettext": catalogue.ngettext,
    "language": catalogue.language,
    "theme": theme,
    "on": on,
    "svg": svg,
}


def render(template: str, **content: Any) -> str:
    """A whole HTML document; `template` is a path below dashboard/, as in pages/lesson/paper.html."""
    return _templates.get_template(template).render(content)
