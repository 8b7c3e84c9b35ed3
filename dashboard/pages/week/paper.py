"""The weekly review on paper: one self-contained HTML file with boxes to tick."""

from html import escape
from pathlib import Path

from dashboard.document import document
from dashboard.pages.week.content import DISCOMFORT_KIND, NOTHING, TALK, THIN, WELL, Entry, Review, review
from dashboard.text.cautions import BANDS_ARE_CUSTOM, DISCOMFORT, MINORS
from dashboard.text.numbers import on
from warehouse.access import Reader, open_reader, viewers
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.store import open_snapshot

STYLE = """
.entry { break-inside: avoid; margin: .6rem 0; padding-left: 1.6rem; text-indent: -1.6rem; }
.entry p { margin: .1rem 0; text-indent: 0; } .entry p:first-child { text-indent: -1.6rem; }
"""
NEVER = "No week has been reviewed yet; run: underfoot build"


def review_html(reader: Reader) -> str:
    """The newest week's review, as this viewer may see it, as a whole HTML document."""
    whole = review(reader)
    if whole is None:
        return document("This week", f"<h1>This week</h1><p>{escape(NEVER)}</p>")
    whose = f"{reader.settings.name}, {on(reader.today)}, for {reader.viewer.display_name}"
    body = [
        f"<h1>This week: {escape(on(whole.week))}</h1>",
        f"<p>As of the newest session on {escape(on(whole.as_of))}. {escape(whole.chance)}</p>",
        *(_part(whole, title, lead) for title, lead in ((TALK, ""), (WELL, whole.well), (THIN, whole.thin))),
        f"<footer><p>{escape(BANDS_ARE_CUSTOM)}</p><p>{escape(MINORS)}</p>",
        f"<p>{escape(whose)}. For the staff only.</p></footer>",
    ]
    return document(f"This week: {on(whole.week)}", "\n".join(body), STYLE)


def write_review(home: Home, person: str | None, target: Path | None = None) -> tuple[Path, Review | None]:
    """Write the review of one of the staff (else the first head coach); returns the file and the review.

    Raises
        CallError: the roster has no such person, they are not of the staff, or nothing is published.
    """
    snapshot = open_snapshot(home)
    try:
        everyone = viewers(snapshot)
        first = next((v.person for v in everyone if v.role == "head_coach"), None)
        who = person or first
        if who is None:
            raise CallError(
                "The roster has no head coach; say whose review it is: underfoot review --as PERSON"
            )
        reader = open_reader(home, who, snapshot=snapshot)
        if reader.viewer.role not in ("head_coach", "coach"):
            raise CallError(f"{who} is not a coach; the review is for the staff.")
        whole, text = review(reader), review_html(reader)
    finally:
        snapshot.close()
    stamp = f"-{whole.week}" if whole else ""
    file = target or home.pages / f"review{stamp}{'' if who == first else f'-{who}'}.html"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")
    return file, whole


def _part(whole: Review, title: str, lead: str) -> str:
    entries = whole.part(title)
    parts = [f"<h2>{escape(title)}</h2>"]
    if lead:
        parts.append(f"<p>{escape(lead)}</p>")
    parts += [_entry(entry) for entry in entries] or [f"<p>{escape(NOTHING[title])}</p>"]
    return "\n".join(parts)


def _entry(entry: Entry) -> str:
    box = "☑" if entry.ticked else "☐"
    about = " · ".join(part for part in (entry.word, entry.clubs, entry.coach_name) if part)
    said = [" ".join(part for part in (entry.sentence, entry.kindred) if part)]
    said += [DISCOMFORT] if entry.kind == DISCOMFORT_KIND else []
    said += [entry.talked] if entry.talked else []
    first = f"<p>{box}&ensp;<strong>{escape(entry.name)}</strong> · {escape(about)}</p>"
    return f'<div class="entry">{first}{"".join(f"<p>{escape(text)}</p>" for text in said)}</div>'
