"""What the Coaches page says: each coach's gain as a funnel, and what that cannot show."""

from dataclasses import dataclass

import polars as pl

from dashboard.charts import coach_funnel
from dashboard.charts.coach_funnel import OTHER
from dashboard.charts.picture import Picture
from dashboard.queries import trust
from dashboard.text.catalogue import _, mark, ngettext
from dashboard.text.numbers import count, listed
from warehouse.access import Reader
from warehouse.errors import UnderfootError

FEWEST_STUDENTS = 8  # measured students of a coach before anything is shown of them
CANNOT_SHOW = mark(
    "This page can't show who coaches best. Students are not assigned to coaches at random, they differ in "
    "more than was measured, and only footwork is measured. It can show when a group's gain is larger or "
    "smaller than chance would explain, and so is worth a conversation."
)
HOW_TO_READ = mark(
    "Each dot is the gain of one coach's students over 90 days, in smallest detectable changes, averaged "
    "over the academy's core measures. The further right, the more precisely it is known. If all coaches "
    "were alike, about 80 of 100 dots would fall in the pale funnel and 95 of 100 between the dashed lines. "
    "In the table, the adjusted gain is pulled toward the overall gain, more so where a coach has few "
    "students. Nobody is ranked."
)


@dataclass(frozen=True)
class Coaches:
    """One season's gains as the viewer may see them; an empty sentence is not shown."""

    picture: Picture | None
    not_drawn: str
    own: str
    others: str


def seasons(reader: Reader) -> list[str]:
    """Seasons with gains, newest first.

    Raises
        UnderfootError: there is none yet.
    """
    found = trust.coach_seasons(reader)
    if not found:
        raise UnderfootError(
            _(
                "No coach's gain has been estimated yet. It takes a season of sessions by students whose "
                "coach is named in coaching.csv; then run: underfoot build"
            )
        )
    return found


def coaches(reader: Reader, season: str, *, narrow: bool) -> Coaches:
    """The funnel of a season. A head coach sees every name, a coach only their own."""
    head = reader.viewer.role == "head_coach"
    gains = trust.coach_gains(reader, season).with_columns(
        own=pl.lit(value=True) if head else pl.col("coach").eq_missing(pl.lit(reader.viewer.person)),
        name=pl.col("name").fill_null(OTHER),
    )
    drawn = gains.filter(pl.col("shown") & pl.col("raw").is_not_null() & (pl.col("raw_se") > 0))
    few = gains.filter(~pl.col("shown"))
    if head:
        own, others = "", _few_by_name(few)
    else:
        own, others = _own(few.filter("own")), _others(len(few.filter(~pl.col("own"))))
    if drawn.is_empty():
        nothing = _(
            "No coach has {fewest} students measured often enough in {season}, so nothing is drawn. It will "
            "appear as more sessions come in."
        ).format(fewest=FEWEST_STUDENTS, season=season)
        return Coaches(None, nothing, own, others)
    chart = coach_funnel.picture(drawn, coach_funnel.finding(drawn), narrow=narrow)
    funnel = Picture(chart, coach_funnel.words(drawn), coach_funnel.table(drawn), _(HOW_TO_READ))
    return Coaches(funnel, "", own, others)


def _few_by_name(few: pl.DataFrame) -> str:
    if few.is_empty():
        return ""
    named = [f"{row['name']} ({row['n_students']})" for row in few.iter_rows(named=True)]
    return _("Not shown, with fewer than {fewest} students: {coaches}.").format(
        fewest=FEWEST_STUDENTS, coaches=listed(named)
    )


def _own(few: pl.DataFrame) -> str:
    if few.is_empty():
        return ""
    return _("{students} of yours measured so far; your own dot is drawn from {fewest} on.").format(
        students=count(few["n_students"][0], "student"), fewest=FEWEST_STUDENTS
    )


def _others(n: int) -> str:
    return (
        ngettext(
            "{n} other coach has too few students to be shown.",
            "{n} other coaches have too few students to be shown.",
            n,
        ).format(n=n)
        if n
        else ""
    )
