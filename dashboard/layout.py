"""What every page is laid out with: choices kept in the address, pictures with words, plain empty states."""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import polars as pl

from dashboard import elements as st
from dashboard import gate, pdf, picture_files, safety, tables, turns
from dashboard.downloads import csv_text, file_name
from dashboard.queries import people, sessions
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES, area_name
from dashboard.text.markdown import markdown
from dashboard.text.numbers import on, quoted
from warehouse.access import Reader
from warehouse.errors import UnderfootError

FIRST_ALONE_S = 0.6  # the browser draws a page's first picture in that time


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
    asked = st.query_params.get("student") or None
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
            tables.show(rows, narrow=narrow())
        with st.container(horizontal=True):
            if not rows.is_empty():
                save_table(rows, name, place)
            save(_("Save picture (PNG)"), lambda: picture_files.png(chart), png, "image/png", place)
            save(_("Save picture (SVG)"), lambda: picture_files.svg(chart), svg, "image/svg+xml", place)


def table(rows: pl.DataFrame, name: str | None = None) -> None:
    """Rows as a table: days as days, gaps empty. With a `name`, a button below saves it as a file."""
    tables.show(rows, narrow=narrow())
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
    with_pdf = pdf.is_available()
    if with_pdf:
        save(_("Save to print (PDF)"), lambda: pdf.pdfs([make()], paper)[0], f"{name}.pdf", "application/pdf")
    save(_("Save to print (HTML)"), make, f"{name}.html", "text/html")
    if not with_pdf:
        aside(_(pdf.NOT_HERE))


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
            area=area_name(row["area"]),
            day=on(row["day"]),
        )
        words = quoted(row["text"]) if row["text"] else ""
        caution = safety.discomfort_caution(reader, row)
        st.warning(markdown("{noted} {words} {caution}", noted=noted, words=words, caution=caution))
    return not found.is_empty()
