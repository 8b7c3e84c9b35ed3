"""Pages on paper: one self-contained HTML document from a Jinja2 template; no script, nothing fetched.

A page's `paper.html` extends `document.html`, which holds the head and the common style, and fills its blocks
`title`, `style` and `body`; `document_parts.html` has macros for a picture and a table. Values are escaped.
"""

from html import escape
from pathlib import Path
from typing import Any

import altair as alt
import jinja2
import polars as pl
import vl_convert
from markupsafe import Markup

from dashboard import theme
from dashboard.text import catalogue
from dashboard.text.numbers import on

POLICY = "default-src 'none'; style-src 'unsafe-inline'"  # no script, nothing fetched
STYLE = f"""
body {{ font-family: {theme.FONT}; color: {theme.INK}; background: {theme.GROUND}; margin: 0 auto;
  padding: 1rem; max-width: 42rem; line-height: 1.5; }}
h1 {{ font-size: 1.7rem; margin: 0 0 .5rem; }} h2 {{ font-size: 1.25rem; margin: 1.5rem 0 .25rem; }}
h3 {{ font-size: 1.05rem; margin: .5rem 0 .25rem; }} figure {{ margin: 1.5rem 0; break-inside: avoid; }}
figure svg {{ max-width: 100%; height: auto; }}
figcaption, footer {{ font-size: .85rem; color: {theme.QUIET}; }}
table {{ border-collapse: collapse; width: 100%; }}
th, td {{ text-align: left; vertical-align: top; padding: .15rem .5rem .15rem 0;
  border-bottom: 1px solid {theme.HAIRLINE}; }}
.first {{ border: 2px solid {theme.INK}; padding: .5rem .75rem; font-weight: 600; }}
@media print {{ body {{ padding: 0; max-width: none; }} @page {{ margin: 16mm; }} }}
"""


def svg(chart: alt.TopLevelMixin, words: str, width: int, height: int | None = None) -> Markup:
    """A chart as inline SVG, with `words` as its text alternative; `width` and `height` in px."""
    sized = chart.properties(width=width) if height is None else chart.properties(width=width, height=height)
    drawing = vl_convert.vegalite_to_svg(sized.to_dict())
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


def document(title: str, body: str, style: str = "") -> str:
    """A whole HTML document; `style` is added after the common one. `body` is HTML, escaped by its maker."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="robots" content="noindex"><meta name="referrer" content="no-referrer">'
        f"<title>{escape(title)}</title><style>{STYLE}{style}</style></head>\n"
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def figure(chart: alt.TopLevelMixin, words: str, said: str, width: int) -> str:
    """A picture as SVG with `words` as its text alternative and `said` below it."""
    return f"<figure>{svg(chart, words, width)}<figcaption>{escape(said)}</figcaption></figure>"


def table(rows: pl.DataFrame) -> str:
    """Rows as an HTML table; a gap is an empty cell."""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in rows.columns)
    lines = [
        "<tr>" + "".join(f"<td>{escape('' if value is None else str(value))}</td>" for value in row) + "</tr>"
        for row in rows.iter_rows()
    ]
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
