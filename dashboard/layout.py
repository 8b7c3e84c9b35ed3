"""What every page is laid out with: choices kept in the address, pictures with words, plain empty states."""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from functools import partial
from typing import Any

import polars as pl

from dashboard import elements as st
from dashboard import gate, pdf, picture_files, turns
from dashboard.downloads import csv_text, file_name
from dashboard.queries import people, sessions
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import _
from dashboard.text.cautions import DISCOMFORT
from dashboard.text.labels import FAMILIES, area_name
from dashboard.text.markdown import Markdown, markdown
from dashboard.text.numbers import on, quoted, short_day
from warehouse.access import Reader
from warehouse.errors import UnderfootError

FIRST_ALONE_S = 0.6  # the browser draws a page's first picture in that time
FEW_ROWS, FEW_COLUMNS = 10, 9  # so many a phone shows as a list; more rows fold, more columns are a grid
DESK_WIDTH = 820  # px that a table has beside the sidebar
LETTER_WIDTH, CELL_PADDING, WIDEST_CELL = 7, 18, 200  # px in a table
TWO_LINES = 65  # px; Streamlit breaks a cell's text only in rows of more than 64


def choose(
    label: str,
    choices: Mapping[str, str] | Sequence[str],
    name: str,
    default: str | None = None,
    on_change: Callable[[], None] | None = None,
) -> str:
    """A choice among code → words, kept in the address under `name` so that the page can be linked.

    Codes alone are their own words.
    Where the address says nothing, what was chosen last on any page holds, then `default`, then the first.
    A link to the page that is open, with another choice in it, moves the choice.
    """
    options = choices if isinstance(choices, Mapping) else {code: code for code in choices}
    codes = list(options)
    followed = _follow(name, options)
    kept: dict[str, str] = st.session_state.setdefault("kept", {})
    wanted = (st.query_params.get(name), kept.get(name), default, codes[0])
    start = next(code for code in wanted if code is not None and code in options)
    chosen = st.selectbox(
        label,
        codes,
        index=0 if followed else codes.index(start),
        format_func=lambda code: options[code],
        key=f"choice-{name}",
        on_change=on_change,
    )
    if chosen is None:
        chosen = start
    kept[name] = chosen
    if st.query_params.get(name) != chosen:
        st.query_params[name] = chosen
    st.session_state.setdefault("addressed", {})[name] = chosen
    return str(chosen)


def clubs(families: Sequence[str]) -> str:
    """Choose among families of clubs."""
    return choose(_("Clubs"), {code: FAMILIES.get(code, code) for code in families}, "clubs")


def _follow(name: str, options: Mapping[str, str]) -> bool:
    """Move a choice to what the address says, where that has changed since this page last wrote it.

    Then a link was followed. A control by itself keeps its value while its page is open.
    """
    asked, key = st.query_params.get(name), f"choice-{name}"
    written: dict[str, str] = st.session_state.setdefault("addressed", {})
    if key in st.session_state and asked in options and asked != written.get(name, asked):
        st.session_state[key] = asked
        return True
    return False


def student(
    reader: Reader, page: str, order: Callable[[Reader], Sequence[str]] | None = None
) -> dict[str, Any]:
    """Choose a student in reach, by name or in an `order` of their codes; note that their page was opened.

    Raises
        AccessError: the address names a student outside the viewer's reach (the refusal is logged).
        UnderfootError: there is no student in reach.
    """
    asked = st.query_params.get("student")
    if asked is not None and asked not in reader.students:
        reader.opened(page, asked)
    nobody = f"{_('There is no student you may see.')} {_who_to_ask(reader)}"
    everyone = nonempty(people.students(reader), nobody)
    names = dict(everyone.select("student", "name").iter_rows())
    if order is not None:
        names = {code: names[code] for code in order(reader) if code in names} | names
    chosen = choose(_("Student"), names, "student") if len(names) > 1 else next(iter(names))
    once("opened", (reader.viewer.person, page, chosen), lambda: reader.opened(page, chosen))
    return everyone.row(by_predicate=pl.col("student") == chosen, named=True)


def once(kind: str, key: Hashable, do: Callable[[], None]) -> None:
    """Do something once a visit for each key of its kind; what raised is tried again."""
    seen: set[Hashable] = st.session_state.setdefault(kind, set())
    if key not in seen:
        do()
        seen.add(key)


def _who_to_ask(reader: Reader) -> str:
    if reader.viewer.role == "guardian":
        return _(
            "When a young player comes of age, only they see their page. Ask the head coach if in doubt."
        )
    if reader.viewer.role == "coach":
        return _(
            "Students appear here from the day coaching.csv names you as their coach; ask the head coach."
        )
    return _(
        "Students appear here once people.csv is delivered: drop it on the Deliveries page, or in the inbox."
    )


def picture(drawn: Picture, *, place: str = "") -> None:
    """A picture, what it says in words, the same as a table, and each of them to save as a file.

    Its key is the caller's to place.
    `place` tells two pictures of one page apart that may have the same finding. One in pieces is saved whole.
    """
    for number, piece in enumerate(drawn.specifications):
        said = drawn.words if number == 0 else _("The picture above goes on; its words describe all of it.")
        shown: Any = piece
        st.altair_chart(shown, width="content" if drawn.pieces else "stretch", theme=None, alt=said)
        _let_draw()
    _details(drawn, place)


def _let_draw() -> None:
    """Hold back the rest of a visit's first page until its first picture is drawn.

    The browser still has to load what draws pictures, and would first take in the rest of the page.
    """
    if not st.session_state.get("drawn"):
        st.session_state["drawn"] = True
        turns.pause(FIRST_ALONE_S)


@gate.fragment
def _details(drawn: Picture, place: str) -> None:
    """What folds out below a picture: made when it is opened, as tables nobody looks at slow a page down."""
    chart, words, rows = drawn.chart, drawn.words, drawn.rows
    name = picture_files.finding(chart) or words
    png, svg = file_name(name, "png"), file_name(name, "svg")
    folded = st.expander(_("In words, as a table, to save"), key=f"more-{place}-{png}", on_change="rerun")
    if not folded.open:
        return
    with folded:
        st.write(words)
        if not rows.is_empty():
            _show_rows(rows)
        with st.container(horizontal=True):
            if not rows.is_empty():
                save_table(rows, name, place)
            save(_("Save picture (PNG)"), lambda: picture_files.png(chart), png, "image/png", place)
            save(_("Save picture (SVG)"), lambda: picture_files.svg(chart), svg, "image/svg+xml", place)


def table(rows: pl.DataFrame, name: str | None = None) -> None:
    """Rows as a table: days as days, gaps empty. With a `name`, a button below saves it as a file."""
    _show_rows(rows)
    if name is not None and not rows.is_empty():
        save_table(rows, name)


def save_table(rows: pl.DataFrame, name: str, place: str = "") -> None:
    """A button that saves rows as a CSV file named after `name`."""
    file = file_name(name, "csv")
    save(_("Save table (CSV)"), lambda: csv_text(rows).encode("utf-8-sig"), file, "text/csv", place)


def save(label: str, make: Callable[[], str | bytes], file: str, kind: str, place: str = "") -> None:
    """A button that makes a file when it is pressed, not before, and leaves the page as it is."""
    key, made = f"save-{place}-{file}", gate.later(make)
    st.download_button(label, made, file_name=file, mime=kind, key=key, on_click="ignore", type="tertiary")


def save_to_print(make: Callable[[], str], name: str, paper: str) -> None:
    """Buttons that save a document, which `make` makes as HTML, to print: as PDF on `paper`, and as HTML."""
    if pdf.is_available():
        make_pdf = partial(_pdf_of, make, paper)
        save(_("Save to print (PDF)"), make_pdf, f"{name}.pdf", "application/pdf")
    save(_("Save to print (HTML)"), make, f"{name}.html", "text/html")
    if not pdf.is_available():
        aside(_(pdf.NOT_HERE))


def _pdf_of(make: Callable[[], str], paper: str) -> bytes:
    return pdf.pdfs([make()], paper)[0]


def _show_rows(rows: pl.DataFrame) -> None:
    """Rows as a grid, with long cells on two lines where it is wide; on a phone the first ones as a list."""
    if not narrow() or not 2 < len(rows.columns) <= FEW_COLUMNS:
        _grid(rows)
        return
    _list(rows.head(FEW_ROWS))
    if len(rows) > FEW_ROWS:
        with st.expander(_("All {n} rows").format(n=len(rows))):
            _grid(rows)


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


def _wide_texts(rows: pl.DataFrame) -> list[str]:
    """The columns whose long texts need a second line for the last column to be in sight."""
    letters = {name: max(map(len, [name, *map(str, rows[name])])) for name in rows.columns}
    width = {name: LETTER_WIDTH * n + CELL_PADDING for name, n in letters.items()}
    if len(rows) > FEW_ROWS or sum(width.values()) <= DESK_WIDTH:
        return []
    return [name for name, kind in rows.schema.items() if kind == pl.String and width[name] > WIDEST_CELL]


def _grid(rows: pl.DataFrame) -> None:
    wide = _wide_texts(rows)
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
    texts = {name: st.column_config.TextColumn(width=WIDEST_CELL) for name in wide}
    if _("Words") in rows.columns:
        texts[_("Words")] = st.column_config.TextColumn(width="large")
    config = days | texts
    if narrow():  # whose row it is stays in sight while the others are pushed aside
        config.setdefault(rows.columns[0], st.column_config.Column())["pinned"] = True
    # An Arrow table, because Streamlit turns a Polars frame into a pandas one: that holds the interpreter's
    # lock while it waits for Polars' threads, and froze the server when those waited for the lock.
    st.dataframe(
        rows.with_columns(gaps).to_arrow(), hide_index=True, width="stretch", column_config=config,
        row_height=TWO_LINES if wide else None,
    )  # fmt: skip


def aside(sentence: str) -> None:
    """Small print in full ink: the usual caption's grey is too pale to read."""
    st.write(markdown(":small[{sentence}]", sentence=sentence))


def lead(first: str, sentence: str) -> None:
    """A sentence behind a few words in bold."""
    st.write(markdown("**{first}** {sentence}", first=first, sentence=sentence))


def say(sentence: str) -> None:
    """One plain sentence in a box."""
    st.info(sentence, icon=None)


@contextmanager
def part(heading: str = "") -> Iterator[None]:
    """A part of a page under its heading, or the sentence that its content raises instead."""
    turns.let_others_in()
    if heading:
        st.header(heading, anchor=False)
    try:
        yield
    except UnderfootError as nothing:
        say(str(nothing))


def section(found: Section, *, place: str = "") -> None:
    """A section of a page; `place` as of `picture`."""
    if found.picture:
        picture(found.picture, place=place)
    elif found.table:
        table(*found.table)
    for sentence in filter(None, found.sentences):
        st.write(sentence)
    for sentence in filter(None, (found.picture.key if found.picture else "", *found.notes)):
        aside(sentence)


def narrow() -> bool:
    """Whether a phone is looking, by what the browser says of itself."""
    return "Mobi" in (st.context.headers.get("User-Agent") or "")


def discomfort(reader: Reader, student_code: str) -> bool:
    """Show open discomfort notes, before anything else; true when there is one."""
    found = sessions.open_discomfort(reader, student_code)
    for row in found.iter_rows(named=True):
        noted = markdown(
            _("**Discomfort: {area}**, noted on {day}."),
            area=area_name(row["area"]) if row["area"] else _("area not named"),
            day=on(row["day"]),
        )
        words = quoted(row["text"]) if row["text"] else ""
        st.warning(markdown("{noted} {words} {caution}", noted=noted, words=words, caution=_(DISCOMFORT)))
    return not found.is_empty()
