"""The weekly review on paper: a sheet about people, and one about the academy."""

from contextlib import closing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import polars as pl

from dashboard import document, handouts
from dashboard.pages.coaches import groups
from dashboard.pages.drills.verdicts import advice_table, advised
from dashboard.pages.week.actions import Actions
from dashboard.pages.week.content import NO_REVIEW, NOTHING_FIRST, Review, people_first, review, to_fix
from dashboard.pages.week.entries import HURT, Entry
from dashboard.pages.week.faults import finding, top_faults
from dashboard.pages.week.levels import level_plan
from dashboard.pages.week.safety_lines import SafetyLine, safety_lines
from dashboard.pages.week.since import since_last_monday
from dashboard.queries import academy, people
from dashboard.section import nonempty
from dashboard.text.catalogue import _
from dashboard.text.cautions import BANDS_ARE_CUSTOM, MINORS
from dashboard.text.numbers import on
from warehouse.access import Reader, open_reader
from warehouse.errors import AccessError, CallError, UnderfootError
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
    sheet = People(reader, whole) if whole else None
    return document.render(
        "pages/week/paper.html", review=whole, no_review=_(NO_REVIEW), notes=notes, people=sheet,
        nothing_first=_(NOTHING_FIRST),
        tables=_tables(reader) if whole else [],
        to_fix=[*to_fix(whole.entries), *whole.devices] if whole else [],
    )  # fmt: skip


@dataclass(frozen=True)
class People:
    """The sheet about people: what hurts, whom to see first with what to do, and everyone else in brief."""

    reader: Reader
    whole: Review

    @cached_property
    def hurt(self) -> list[Entry]:
        """Open discomfort."""
        return [entry for entry in self.whole.entries if entry.part == HURT]

    @cached_property
    def safety(self) -> list[SafetyLine]:
        """What else is not safe."""
        return safety_lines(self.reader)

    @cached_property
    def first(self) -> list[tuple[Entry, str]]:
        """The people to see first, each with what to do."""
        actions = Actions(self.reader)
        return [(entry, actions.propose(entry)) for entry in people_first(self.whole.entries)]

    @cached_property
    def since(self) -> tuple[str, ...]:
        """What came, stayed and went since last Monday."""
        return since_last_monday(self.reader, self.whole.entries).lines

    @cached_property
    def others(self) -> list[tuple[str, list[Entry]]]:
        """Everyone who is in a part of the list for something else, each once, by the name of the part."""
        done = {entry.signal for entry in (*self.hurt, *(entry for entry, _action in self.first))}
        found = [
            (part.heading, {e.student: e for e in part.entries if e.student and e.signal not in done})
            for part in self.whole.parts()
        ]
        return [(heading, list(entries.values())) for heading, entries in found if entries]


def _tables(reader: Reader) -> list[tuple[str, pl.DataFrame]]:
    """The sheet about the academy: each table with its heading; what has nothing to show is left out."""
    found = []
    season = people.newest_season(reader)
    for make in (_levels, _groups, _faults, _drills):
        try:
            found.append(make(reader, season))
        except (AccessError, CallError):
            raise  # our own mistake; nothing to show is neither
        except UnderfootError:
            continue
    return found


def _levels(reader: Reader, _season: str) -> tuple[str, pl.DataFrame]:
    return _("Season plan"), level_plan(reader)


def _groups(reader: Reader, season: str) -> tuple[str, pl.DataFrame]:
    return _("Coaches' groups"), groups.table(groups.rows(reader, season))


def _faults(reader: Reader, _season: str) -> tuple[str, pl.DataFrame]:
    rows = top_faults(reader)
    return finding(rows), rows


def _drills(reader: Reader, season: str) -> tuple[str, pl.DataFrame]:
    effects = nonempty(academy.drill_effects(reader, season), "")
    return _("Drills to keep, change, stop and try"), advice_table(advised(effects)).drop(
        _("Given"), _("What would settle it")
    )


def write_review(
    home: Home, person: str | None, target: Path | None = None, *, as_pdf: bool = False
) -> tuple[Path, Review | None]:
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
    return handouts.write(home, f"review{stamp}{own}", text, target, as_pdf=as_pdf), whole
