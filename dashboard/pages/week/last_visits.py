"""The small picture beside a line of the review."""

from dashboard.charts.spark import VISITS, spark
from dashboard.kept import kept
from dashboard.pages.week.entries import Entry
from dashboard.queries import people
from dashboard.student_season import StudentSeason, fault_season, measure_season
from dashboard.text.catalogue import _
from dashboard.text.numbers import count
from dashboard.text.sentences import band_place
from warehouse.access import Reader


@kept
def last_visits(reader: Reader, entry: Entry) -> tuple[str, str] | None:
    """What an entry is about over the last visits against its target, as SVG and in words.

    None where it was not measured.
    """
    if entry.student is None or entry.works_on is None:
        return None
    newest, student = people.newest_season(reader), entry.student
    family = entry.family or next(iter(people.families(reader, newest, student)), "")
    chosen = StudentSeason(reader, people.student(reader, student), newest, family)
    if entry.works_on in chosen.measures:
        found = measure_season(chosen, chosen.measures[entry.works_on])
    else:
        found = fault_season(chosen, entry.works_on)
    if found is None:
        return None
    line, values = found.line, found.line.sessions["mean"].to_list()
    words = _("{what} over the last {visits}: {values}; {place}").format(
        what=line.measure.label,
        visits=count(min(len(values), VISITS), "visit"),
        values=", ".join(line.measure.say(value) for value in values[-VISITS:]),
        place=band_place(values[-1], *line.band),
    )
    return spark(values, line.band), words
