"""The progress page on paper: one self-contained HTML file, pictures as SVG, no script, nothing fetched."""

from html import escape
from pathlib import Path

from dashboard.charts.picture import Picture
from dashboard.document import document, figure
from dashboard.pages.progress.content import Focus, Progress, progress
from dashboard.queries import people
from dashboard.text.numbers import on
from dashboard.text.sentences import FEET
from warehouse.access import Reader, open_reader
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

PICTURE_WIDTH = 620  # px; what an A4 or Letter page carries between its margins


def progress_html(reader: Reader, student: str) -> str:
    """The progress page of one student as a whole HTML document.

    Raises
        AccessError: the student is not in the reader's reach.
    """
    reader.opened("Progress page on paper", student)
    page = progress(reader, people.student(reader, student), narrow=True)
    body = "\n".join(
        [
            f"<h1>{escape(page.name)}</h1>",
            *(f'<p class="first">{escape(sentence)}</p>' for sentence in page.discomfort),
            f"<p>{escape(page.opening)}</p>",
            _focus(page.focus),
            *(_figure(picture) for picture in page.pictures),
            _notes(page),
            "<footer>",
            *(f"<p>{escape(sentence)}</p>" for sentence in page.cautions),
            f"<p>{escape(reader.settings.name)}, {escape(on(reader.today))}.</p></footer>",
        ]
    )
    return document(f"Progress page: {page.name}", body)


def write_page(home: Home, student: str, target: Path | None = None) -> Path:
    """Write a student's progress page, seen through the student's own eyes; returns the file.

    Raises
        CallError: the roster has no such student, or nothing is published.
    """
    snapshot = open_snapshot(home)
    try:
        reader = open_reader(home, student, snapshot=snapshot)
        if reader.viewer.role != "student":
            raise CallError(f"{student} is not a student; a progress page is about one student.")
        text = progress_html(reader, student)
    finally:
        snapshot.close()
    file = target or home.pages / f"progress-{student}.html"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")
    return file


def _focus(focus: Focus | None) -> str:
    if focus is None:
        return "<p>Nothing to work on is set yet. Ask your coach at the next lesson.</p>"
    parts = ["<h2>One thing to work on</h2>", f"<h3>{escape(focus.title)}</h3>"]
    parts += [f"<p>{escape(sentence)}</p>" for sentence in (*focus.sentences, FEET)]
    if focus.drill:
        parts += ["<h2>How to practise it</h2>", f"<h3>{escape(focus.drill)}</h3>"]
    parts += [f"<p>{escape(sentence)}</p>" for sentence in focus.how]
    parts += [f"<p><strong>Take care.</strong> {escape(sentence)}</p>" for sentence in focus.cautions]
    return "\n".join(parts)


def _figure(picture: Picture) -> str:
    said = f"{picture.words} {picture.key}".strip()
    return figure(picture.chart, picture.words, said, PICTURE_WIDTH)


def _notes(page: Progress) -> str:
    if not page.notes:
        return ""
    return "<h2>From your coach</h2>\n" + "\n".join(f"<p>{escape(note)}</p>" for note in page.notes)
