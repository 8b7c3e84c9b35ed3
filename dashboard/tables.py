"""Rows on a page: a grid where it is wide, a list on a phone."""

from datetime import date

import polars as pl

from dashboard import elements as st
from dashboard.text.catalogue import _
from dashboard.text.markdown import Markdown, markdown
from dashboard.text.numbers import on, short_day

FEW_ROWS, FEW_COLUMNS = 10, 9  # most a phone shows as a list; further rows fold, more columns make a grid
MOST_WHOLE = 20  # rows of a grid that are all in sight; a longer one scrolls
DESK_WIDTH = 820  # px that a table has beside the sidebar
LETTER_WIDTH, CELL_PADDING, WIDEST_CELL, WIDEST_TEXT = 7, 18, 200, 400  # px in a table
TWO_LINES = 65  # px; Streamlit breaks a cell's text only in rows of more than 64


def show(rows: pl.DataFrame, *, narrow: bool) -> None:
    """Rows as a grid, with long cells on two lines where it is wide; on a phone the first ones as a list."""
    if not narrow or not 2 < len(rows.columns) <= FEW_COLUMNS:
        _grid(rows, narrow=narrow)
        return
    _list(rows.head(FEW_ROWS))
    if len(rows) > FEW_ROWS:
        with st.expander(_("All {n} rows").format(n=len(rows))):
            _grid(rows, narrow=narrow)


def _list(rows: pl.DataFrame) -> None:
    """A row a line, the first cell in bold, empty cells left out: a phone has no room for columns."""
    lines = []
    for first, *rest in rows.iter_rows():
        cells = zip(rows.columns[1:], rest, strict=True)
        said = ". ".join(f"{name}: {_cell(cell)}" for name, cell in cells if cell not in {None, "", "–"})
        lines.append(markdown("- **{what}**. {said}", what=_cell(first), said=said))
    st.write(Markdown("\n".join(lines)))


def _cell(value: object) -> str:
    return on(value) if isinstance(value, date) else str(value)


def _text_widths(rows: pl.DataFrame) -> tuple[dict[str, int], bool]:
    """Widths in px of columns with long texts, and whether they take a second line to keep the last in sight.

    Left to itself, the grid makes a column that is mostly short or empty too narrow for its one long text.
    """
    letters = {name: max(map(len, [name, *map(str, rows[name])])) for name in rows.columns}
    width = {name: LETTER_WIDTH * n + CELL_PADDING for name, n in letters.items()}
    long = [name for name, kind in rows.schema.items() if kind == pl.String and width[name] > WIDEST_CELL]
    left = DESK_WIDTH - sum(px for name, px in width.items() if name not in long)
    each = max(left // max(len(long), 1), WIDEST_CELL)
    fits = each * len(long) <= left
    if sum(width.values()) <= DESK_WIDTH or not (fits or len(rows) <= FEW_ROWS):
        return {name: min(width[name], WIDEST_TEXT) for name in long}, False
    return {name: min(width[name], each) for name in long}, bool(long)


def _grid(rows: pl.DataFrame, *, narrow: bool) -> None:
    widths, two_lines = _text_widths(rows)
    gaps = [pl.col(name).fill_null("") for name, kind in rows.schema.items() if kind == pl.String]
    # A date column shows a gap as "None"; with gaps, its days go in as words.
    gappy = [name for name, kind in rows.schema.items() if kind == pl.Date and rows[name].null_count()]
    rows = rows.with_columns(
        pl.Series(name, [day and short_day(day) for day in rows[name]], pl.String) for name in gappy
    )
    gaps += [pl.col(name).fill_null("") for name in gappy]
    days = {
        name: st.column_config.DateColumn(format=_("D MMM YYYY"))
        for name, kind in rows.schema.items()
        if kind == pl.Date
    }
    texts = {name: st.column_config.TextColumn(width=px) for name, px in widths.items()}
    if _("Words") in rows.columns:
        texts[_("Words")] = st.column_config.TextColumn(width="large")
    config = days | texts
    if narrow:  # whose row it is stays in sight while the others are pushed aside
        config.setdefault(rows.columns[0], st.column_config.Column())["pinned"] = True
    # An Arrow table, because Streamlit turns a Polars frame into a pandas one: that holds the interpreter's
    # lock while it waits for Polars' threads, and froze the server when those waited for the lock.
    st.dataframe(
        rows.with_columns(gaps).to_arrow(), hide_index=True, width="stretch", column_config=config,
        row_height=TWO_LINES if two_lines else None, height="content" if len(rows) <= MOST_WHOLE else "auto",
    )  # fmt: skip
