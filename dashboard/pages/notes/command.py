"""A note from the command line: what the form takes, by options, kept by the same rules."""

from collections.abc import Callable, Collection
from contextlib import closing
from typing import Any

import click

from dashboard.text.catalogue import _
from dashboard.text.labels import AREAS
from dashboard.text.numbers import listed, lowered
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.vocabulary import DOSE_UNITS, PACES, PLACES

_OPTIONS = (
    click.option("--saw", metavar="CODE", help="A fault, or a sign only the eye can see."),
    click.option("--grade", type=click.IntRange(0, 3), default=2, show_default=True, help="0: not there."),
    click.option("--plan", metavar="WORDS", help="The plan, in your words."),
    click.option("--drill", metavar="CODE", help="A drill that you set."),
    click.option("--dose", type=float, help="How many of it."),
    click.option("--unit", type=click.Choice(DOSE_UNITS), default="reps", show_default=True),
    click.option("--pace", type=click.Choice(PACES), help="At which pace."),
    click.option("--place", type=click.Choice(PLACES), default="lesson", show_default=True),
    click.option("--shared/--not-shared", default=True, help="The student sees the drill and the plan."),
    click.option("--hurts", metavar="AREA", help="Where it hurts."),
    click.option("--side", type=click.Choice(["lead", "trail", "both"]), help="Which side."),
    click.option("--words", metavar="WORDS", help="What the student says of it."),
    click.option("--over", metavar="AREA", help="Where it no longer hurts."),
    click.option("--goal", metavar="WORDS", help="What the player came for, in their words."),
    click.option("--as", "person", metavar="PERSON", help="Who writes it; else the head coach."),
)


def options(function: Callable[..., None]) -> Callable[..., None]:
    """The options of the command."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def write(home: Home, student: str, person: str | None, **given: Any) -> str:
    """Keep a note in the inbox; what it says, by kind, in a sentence.

    Raises
        AccessError: the student is out of the writer's reach.
        CallError: it says nothing, a code is not known, or age, falls or pain rule out what it sets.
        OSError: the disk did not take it.
    """
    # The command shows its options without what a page needs.
    from dashboard.pages.notes.content import NOTE_KINDS, keep  # noqa: PLC0415
    from dashboard.queries import people  # noqa: PLC0415
    from warehouse.access import open_reader  # noqa: PLC0415
    from warehouse.observations import signs  # noqa: PLC0415
    from warehouse.reach import head_coach  # noqa: PLC0415
    from warehouse.store import open_snapshot  # noqa: PLC0415

    with closing(open_snapshot(home)) as snapshot:
        writer = person or head_coach(snapshot, home.settings().today)
        reader = open_reader(home, writer or "", snapshot=snapshot)
        known_signs = [sign.code for sign in signs()]
        _check(given["saw"], [*people.faults(reader), *known_signs], "--saw")
        _check(given["drill"], people.drills(reader)["drill"].to_list(), "--drill")
        _check(given["hurts"], AREAS, "--hurts")
        form = {
            "sign" if given["saw"] in known_signs else "fault": given["saw"], "grade": str(given["grade"]),
            "text": given["plan"], "drill": given["drill"], "dose": given["dose"], "unit": given["unit"],
            "pace": given["pace"], "place": given["place"], "shared": given["shared"],
            "area": given["hurts"], "side": given["side"], "hurts": given["words"], "over": given["over"],
            "goal_words": given["goal"],
        }  # fmt: skip
        written = keep(reader, student, form)
    kinds = listed([lowered(NOTE_KINDS[line["kind"]]) for line in written])
    return _("Saved: {kinds}.").format(kinds=kinds)


def _check(code: str | None, known: Collection[str], option: str) -> None:
    if code is not None and code not in known:
        raise CallError(
            _("{option} {code} is not known; use one of {known}.").format(
                option=option, code=code, known=", ".join(known)
            )
        )
