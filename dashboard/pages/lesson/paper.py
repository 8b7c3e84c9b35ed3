"""The lesson sheet on paper: one page, A4 or Letter, as one self-contained HTML file."""

from html import escape
from pathlib import Path

from dashboard.document import document, figure, table
from dashboard.pages.lesson.about import Part
from dashboard.pages.lesson.content import Sheet, sheet
from dashboard.queries import people
from dashboard.text.numbers import on
from warehouse.access import Reader, open_reader, viewers
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import Snapshot, open_snapshot

PICTURE_WIDTH, PICTURE_HEIGHT = 620, 150  # px
STYLE = """
main { font-size: .92rem; } h1 { margin: 0; } h2 { font-size: 1rem; margin: .6rem 0 .1rem; }
p { margin: .15rem 0; } figure { margin: .3rem 0; } footer p { margin: .1rem 0; }
table { font-size: .82rem; line-height: 1.3; }
@media print {
  @page { margin: 10mm 13mm; } html { font-size: 8.8pt; } body { line-height: 1.24; }
  h1 { font-size: 1.3rem; } h2 { break-after: avoid; }
  figure svg { max-height: 42mm; width: auto; } h2 { margin-top: .4rem; } footer p { display: inline; }
}
"""


def sheet_html(reader: Reader, page: Sheet) -> str:
    """A sheet as a whole HTML document."""
    body = "\n".join(
        [
            f"<h1>Lesson sheet: {escape(page.name)}</h1>",
            f"<p>{escape(page.about)}</p>",
            *(f'<p class="first">{escape(sentence)}</p>' for sentence in page.hurts),
            *(_part(part, page) for part in page.parts),
            "<footer>",
            *([f"<p>{escape(page.left_out)}</p>"] if page.left_out else []),
            *(f"<p>{escape(sentence)}</p>" for sentence in page.cautions),
            f"<p>{escape(reader.settings.name)}, {escape(on(reader.today))}. For the coach.</p></footer>",
        ]
    )
    return document(f"Lesson sheet: {page.name}", body, STYLE)


def write_sheet(home: Home, student: str, target: Path | None = None) -> Path:
    """Write a student's lesson sheet as their coach of today sees it; returns the file.

    Raises
        CallError: the roster has no such student, or nothing is published.
    """
    snapshot = open_snapshot(home)
    try:
        reader = open_reader(home, _coach(snapshot, home, student), snapshot=snapshot)
        reader.opened("Lesson sheet on paper", student)
        person = people.student(reader, student)
        when = next((s for s in people.seasons(reader) if people.families(reader, s, student)), None)
        family = people.families(reader, when, student)[0] if when else None
        text = sheet_html(reader, sheet(reader, person, when, family, narrow=False))
    finally:
        snapshot.close()
    file = target or home.pages / f"lesson-{student}.html"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")
    return file


def _coach(snapshot: Snapshot, home: Home, student: str) -> str:
    """Who coaches the student today; the head coach where nobody does.

    Raises
        CallError: the roster has no such student, or nobody who may see them.
    """
    heads = [viewer.person for viewer in viewers(snapshot) if viewer.role == "head_coach"]
    if not heads:
        raise CallError("The roster has no head coach; add one to people.csv and load it.")
    reader = open_reader(home, heads[0], snapshot=snapshot)
    if student not in reader.students:
        raise CallError(f"{student} is not a student of the roster; a lesson sheet is about one student.")
    return people.student(reader, student)["coach"] or heads[0]


def _part(part: Part, page: Sheet) -> str:
    said = [f"<h2>{escape(part.title)}</h2>", *(f"<p>{escape(sentence)}</p>" for sentence in part.sentences)]
    if part.rows is not None:
        said.append(table(part.rows))
    if part.title == "Works on" and page.picture is not None:
        small = page.picture.chart.properties(height=PICTURE_HEIGHT)
        said.append(figure(small, page.picture.words, page.picture.key, PICTURE_WIDTH))
    return "\n".join(said)
