"""What the Coaches page says: each coach's gain as a funnel, and what that cannot show."""

import polars as pl

from dashboard.charts import coach_funnel
from dashboard.charts.coach_funnel import OTHER
from dashboard.kept import kept
from dashboard.queries import academy, people
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import _, mark, ngettext
from dashboard.text.numbers import count, listed
from warehouse.access import Reader

FEWEST_STUDENTS = 8  # measured students of a coach before anything is shown of them
CANNOT_SHOW = mark(
    "This page can't show who coaches best. Students are not assigned to coaches at random, they differ in "
    "more than was measured, and only footwork is measured. It can show when a group's gain is larger or "
    "smaller than chance would explain, and so is worth a conversation."
)
NO_GAINS = mark(
    "No coach's gain has been estimated yet. It takes a season of sessions by students whose coach is named "
    "in coaching.csv; then run: underfoot build"
)
HOW_TO_READ = mark(
    "Each dot is the gain of one coach's students over 90 days, in smallest detectable changes, averaged "
    "over the academy's core measures. The further right, the more precisely it is known. If all coaches "
    "were alike, about 80 of 100 dots would fall in the pale funnel and 95 of 100 between the dashed lines. "
    "In the table, the gain drawn toward the others allows for how few students a coach has. Nobody is "
    "ranked."
)


def seasons(reader: Reader) -> list[str]:
    """Seasons with gains, newest first."""
    return nonempty(people.seasons(reader, of="coach_gain"), _(NO_GAINS))


@kept
def coaches(reader: Reader, season: str, *, narrow: bool) -> Section:
    """The funnel of a season. A head coach sees every name, a coach only their own."""
    head = reader.viewer.role == "head_coach"
    gains = academy.coach_gains(reader, season).with_columns(
        own=pl.lit(value=True) if head else pl.col("coach").eq_missing(pl.lit(reader.viewer.person)),
        name=pl.col("name").fill_null(OTHER),
    )
    drawn = gains.filter(pl.col("shown") & pl.col("raw").is_not_null() & (pl.col("raw_se") > 0))
    few = gains.filter(~pl.col("shown"))
    own, note = ("", _few_by_name(few)) if head else _few_unnamed(few)
    nothing = _(
        "No coach has {fewest} students measured often enough in {season}, so nothing is drawn. It will "
        "appear as more sessions come in."
    ).format(fewest=FEWEST_STUDENTS, season=season)
    nonempty(drawn, " ".join(filter(None, [nothing, own, note])))
    chart = coach_funnel.picture(drawn, coach_funnel.finding(drawn), narrow=narrow)
    picture = Picture(chart, coach_funnel.words(drawn), coach_funnel.table(drawn), _(HOW_TO_READ))
    return Section(picture, sentences=(own,), notes=(note,))


def _few_by_name(few: pl.DataFrame) -> str:
    named = listed([f"{row['name']} ({row['n_students']})" for row in few.iter_rows(named=True)])
    text = _("Not shown, with fewer than {fewest} students: {coaches}.")
    return text.format(fewest=FEWEST_STUDENTS, coaches=named) if named else ""


def _few_unnamed(few: pl.DataFrame) -> tuple[str, str]:
    """A coach's own students if they are too few, and how many others have too few; each may be ""."""
    own, others = few.filter("own"), len(few.filter(~pl.col("own")))
    said, note = "", ""
    if len(own):
        said = _("{students} of yours measured so far; your own dot is drawn from {fewest} on.").format(
            students=count(own["n_students"][0], "student"), fewest=FEWEST_STUDENTS
        )
    if others:
        note = ngettext(
            "{n} other coach has too few students to be shown.",
            "{n} other coaches have too few students to be shown.",
            others,
        ).format(n=others)
    return said, note
