"""The season plan in the weekly review: where each level stood, stands now and is meant to stand."""

import polars as pl

from dashboard.queries import academy, people, season
from dashboard.queries.season import outside
from dashboard.section import nonempty
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import capitalized, lowered
from warehouse.access import Reader


def level_plan(reader: Reader) -> pl.DataFrame:
    """One row per level: the core measure on which most of its students started outside the target.

    With the clubs measured most. A student stands where the season's line starts, and where it is now.

    Raises
        UnderfootError: no level has been measured against a target yet.
    """
    newest = people.newest_season(reader)
    family = next(iter(people.families(reader, newest)), "")
    measures, found = people.measures(reader), []
    for (level,), own in academy.level_lines(reader, newest, family).group_by("level", maintain_order=True):
        bands = season.bands(reader, family, {"student": None, "level": level})
        stood = [
            (metric, len(now), outside(start, bands[metric]), outside(now, bands[metric]))
            for _level, metric, start, now in own.iter_rows() if metric in bands
        ]  # fmt: skip
        if not stood:
            continue
        metric, students, start, now = max(stood, key=lambda row: (row[2] / row[1], row[3] / row[1]))
        measure = measures[str(metric)]
        of = _("{n} of {students} outside")
        found.append(
            {
                _("Level"): capitalized(str(level)),
                _("Most outside the target ({clubs})").format(clubs=lowered(FAMILIES.get(family, family))): (
                    measure.label
                ),
                _("At the start"): of.format(n=start, students=students),
                _("Now"): of.format(n=now, students=students),
                _("Meant to be"): measure.say_target(*bands[str(metric)]),
            }
        )
    return pl.DataFrame(nonempty(found, _("No level has been measured against a target yet.")))
