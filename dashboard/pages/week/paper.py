"""The weekly review on paper: a sheet about people, and one about the academy."""

from contextlib import closing
from pathlib import Path

from dashboard import document
from dashboard.pages.week.content import NO_REVIEW, Review, review
from dashboard.pages.week.faults import top_faults
from dashboard.text.catalogue import _
from dashboard.text.cautions import BANDS_ARE_CUSTOM, MINORS
from dashboard.text.numbers import on
from warehouse.access import Reader, open_reader
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.reach import head_coach
from warehouse.store import open_snapshot
from warehouse.vocabulary import STAFF


def review_html(reader: Reader, whole: Review | None) -> str:
    """A review on paper, with boxes to tick, as a whole HTML document."""
    signed = _("{academy}, {day}, for {viewer}. For the staff only.").format(
        academy=reader.settings.name, day=on(reader.today), viewer=reader.viewer.display_name
    )
    notes = [_(BANDS_ARE_CUSTOM), _(MINORS), signed]
    try:
        faults = top_faults(reader)
    except UnderfootError:
        faults = None
    return document.render(
        "pages/week/paper.html", review=whole, no_review=_(NO_REVIEW), notes=notes, faults=faults
    )


def write_review(home: Home, person: str | None, target: Path | None = None) -> tuple[Path, Review | None]:
    """Write the review of one of the staff (else the first head coach); returns the file and the review.

    Raises
        CallError: the roster has no such person, they are not of the staff, or nothing is published.
    """
    with closing(open_snapshot(home)) as snapshot:
        head = head_coach(snapshot, home.settings().today)
        who = person or head
        if who is None:
            raise CallError(
                _("The roster has no head coach; say whose review it is: underfoot review --as PERSON")
            )
        reader = open_reader(home, who, snapshot=snapshot)
        if reader.viewer.role not in STAFF:
            raise CallError(_("{who} is not a coach; the review is for the staff.").format(who=who))
        whole = review(reader)
        text = review_html(reader, whole)
    stamp, own = f"-{whole.week}" if whole else "", "" if who == head else f"-{who}"
    file = document.place(home, target, f"review{stamp}{own}.html")
    return document.save(text, file), whole
