"""Each coach's group: who comes, how they do, who was not seen and who hurts; by name, never ranked."""

import polars as pl

from dashboard.queries import academy
from dashboard.section import nonempty
from dashboard.text.catalogue import _, mark, ngettext
from dashboard.text.numbers import count
from warehouse.access import Reader

HOW_TO_READ = mark(
    "In alphabetical order; nobody is ranked. Better and worse: the season shows a clear change on a core "
    "measure; a student with both counts as worse. Groups differ in more than their coach."
)


def rows(reader: Reader, season: str) -> pl.DataFrame:
    """`queries.academy.coach_groups`.

    Raises
        UnderfootError: no student in reach has a coach.
    """
    return nonempty(academy.coach_groups(reader, season), _("No student has a coach in coaching.csv today."))


def headline(groups: pl.DataFrame) -> str:
    """How everyone does in a sentence, and what wants looking after."""
    total = {
        name: int(groups[name].sum())
        for name in ("students", "better", "steady", "worse", "unseen", "in_pain")
    }
    said = _("{students} this season: {better} better, {steady} steady, {worse} worse.").format(
        students=count(total["students"], "student"), **{k: total[k] for k in ("better", "steady", "worse")}
    )
    after = []
    if known := total["students"] - total["better"] - total["steady"] - total["worse"]:
        after.append(ngettext("{n} is not measured yet.", "{n} are not measured yet.", known).format(n=known))
    if total["unseen"]:
        after.append(ngettext(
            "{n} has not been seen for six weeks.", "{n} have not been seen for six weeks.", total["unseen"]
        ).format(n=total["unseen"]))  # fmt: skip
    if total["in_pain"]:
        after.append(
            ngettext("{n} has an open discomfort.", "{n} have an open discomfort.", total["in_pain"]).format(
                n=total["in_pain"]
            )
        )
    return " ".join([said, *after])


def table(groups: pl.DataFrame) -> pl.DataFrame:
    """The groups as rows to read and to save, by the coach's name."""
    return groups.select(
        pl.col("name").alias(_("Coach")), pl.col("students").alias(_("Students")),
        pl.col("visits").alias(_("Visits this season")), pl.col("better").alias(_("Better")),
        pl.col("steady").alias(_("Steady")), pl.col("worse").alias(_("Worse")),
        pl.col("unseen").alias(_("Not seen for six weeks")), pl.col("in_pain").alias(_("Open pain")),
    )  # fmt: skip
