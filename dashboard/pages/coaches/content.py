"""What the Coaches page says: each coach's gain as a funnel, and what that cannot show."""

import polars as pl

from dashboard.charts import coach_funnel
from dashboard.charts.coach_funnel import OTHER
from dashboard.kept import kept
from dashboard.queries import academy, people
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import _, mark, ngettext
from dashboard.text.numbers import count, joined, listed
from warehouse.access import Reader

FEWEST_STUDENTS = 8  # students of a coach with room to gain before anything is shown of them
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
    "Each dot is the gain of one coach's students over 90 days compared with the other coaches' students, in "
    "smallest detectable changes, averaged over the core measures in which a student was outside the target, "
    "and allowing for how far outside they started. The further right, the more precisely it is known. "
    "If all coaches were alike, about 80 of 100 dots would fall in the pale funnel and 95 of 100 between the "
    "dashed lines. In the table, the gain drawn toward the others allows for how few students a coach has. "
    "Nobody is ranked."
)
_FEW = pl.col("n_students") < FEWEST_STUDENTS


def seasons(reader: Reader) -> list[str]:
    """Seasons with a measured session, newest first."""
    return nonempty(people.seasons(reader), _(NO_GAINS))


@kept
def coaches(reader: Reader, season: str, *, narrow: bool) -> Section:
    """The funnel of a season. A head coach sees every name, a coach only their own."""
    head = reader.viewer.role == "head_coach"
    gains = nonempty(academy.coach_gains(reader, season), _(NO_GAINS)).with_columns(
        own=pl.lit(value=True) if head else pl.col("coach").eq_missing(pl.lit(reader.viewer.person)),
        name=pl.col("name").fill_null(OTHER),
    )
    drawn = gains.filter(pl.col("shown") & pl.col("raw").is_not_null() & (pl.col("raw_se") > 0))
    left_out = gains.filter(~pl.col("shown"))
    few, no_room = (left_out.filter(kind) for kind in (_FEW, ~_FEW))
    own, note = ("", _left_out_by_name(few, no_room)) if head else _left_out_unnamed(few, no_room)
    nothing = _(
        "No coach has a dot in {season} yet: it takes {fewest} students of theirs with room to gain, and as "
        "many of the other coaches'. Dots appear as more sessions come in."
    ).format(fewest=FEWEST_STUDENTS, season=season)
    nonempty(drawn, joined(nothing, own, note))
    chart = coach_funnel.picture(drawn, coach_funnel.finding(drawn), narrow=narrow)
    picture = Picture(chart, coach_funnel.words(drawn), coach_funnel.table(drawn), _(HOW_TO_READ))
    return Section(picture, sentences=(own,), notes=(note,))


def _left_out_by_name(few: pl.DataFrame, no_room: pl.DataFrame) -> str:
    few_said = _("Not shown, with fewer than {fewest} students: {coaches}.")
    no_room_said = _(
        "Not shown, as too few of their own or the other coaches' students are outside the target, "
        "with room to gain: {coaches}."
    )
    of = _("{name} ({room} of {n} with room)")
    return " ".join(
        text.format(
            fewest=FEWEST_STUDENTS,
            coaches=listed(
                [each.format(name=row["name"], n=row["n_students"], room=row["n_room"])
                 for row in rows.iter_rows(named=True)]
            ),
        )
        for text, rows, each in ((few_said, few, "{name} ({n})"), (no_room_said, no_room, of)) if len(rows)
    )  # fmt: skip


def _left_out_unnamed(few: pl.DataFrame, no_room: pl.DataFrame) -> tuple[str, str]:
    """Why a coach's own dot is missing, and how many others have none; each may be ""."""
    said, note = "", ""
    if len(mine := few.filter("own")):
        said = _("{students} of yours measured so far; your own dot is drawn from {fewest} on.").format(
            students=count(mine["n_students"][0], "student"), fewest=FEWEST_STUDENTS
        )
    elif len(mine := no_room.filter("own")):
        said = _(
            "{room} of your {students} are outside their targets and have room to gain. For a dot of "
            "your own, they or the other coaches' are too few. Nothing is wrong with that."
        ).format(room=mine["n_room"][0], students=count(mine["n_students"][0], "student"))
    others = sum(len(rows.filter(~pl.col("own"))) for rows in (few, no_room))
    if others:
        note = ngettext(
            "{n} other coach has too few students with room to gain to be shown.",
            "{n} other coaches have too few students with room to gain to be shown.",
            others,
        ).format(n=others)
    return said, note
