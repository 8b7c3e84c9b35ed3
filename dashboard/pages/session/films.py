"""Films among the dropped files: what each one is, which swing it shows, and whether it may be kept."""

import re
from collections.abc import Mapping, Sequence

from dashboard import elements as st
from dashboard import layout, navigation
from dashboard.pages.session.content import KeptFilms, Visit
from dashboard.queries import people
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import listed, number, on
from warehouse.access import Reader
from warehouse.errors import CallError
from warehouse.preview import Preview, PreviewedFilm
from warehouse.vocabulary import SWING, VIEWS

LATER = 0
FASTEST, SLOWEST = 1000.0, 10.0  # pictures a second
VIEW_NAMES = Words({"face_on": "the front", "down_line": "behind, along the target line"})


def stops(reader: Reader, visit: Visit) -> str:
    """Why no film of this visit may be kept; empty where one may."""
    day = visit.started_at.date()
    if people.may_film(reader, visit.student, day):
        return ""
    if reader.is_minor(visit.student):
        return _(
            "No consent to film covers {day}, and for a minor a guardian has to give it; the films are left "
            "out."
        ).format(day=on(day))
    return _("No consent to film covers {day}; the films are left out.").format(day=on(day))


def guesses(found: Preview) -> dict[str, int]:
    """The swing of each film: of the number in its name, else in order where there is one for each swing."""
    swings = [swing.no for swing in found.swings if swing.refused is None and swing.kind == SWING]
    numbers = {film.name: re.match(r"(?i)clip-(\d{1,3})\.", film.name) for film in found.films}
    named = {name: int(number[1]) for name, number in numbers.items() if number is not None}
    if named.keys() == numbers.keys() and set(named.values()) <= set(swings):
        return named
    if len(found.films) == len(swings):
        return dict(zip(numbers, swings, strict=True))
    return {}


def words(film: PreviewedFilm) -> str:
    """A film's name, how long it is and how many pictures a second it plays."""
    facts = [
        number(film.seconds, "s", 1) if film.seconds else _("length not stated"),
        _("{n} pictures a second").format(n=number(film.rate)) if film.rate else _("rate not stated"),
    ]
    return _("{film}: {facts}").format(film=film.name, facts=listed(facts))


def choose(reader: Reader, visit: Visit, found: Preview) -> KeptFilms | None:
    """Which swing each film shows, and how it was filmed; None where none is to be kept.

    Raises
        CallError: two films are of one swing.
    """
    st.header(_("Films"), anchor=False)
    if missing := stops(reader, visit):
        st.warning(missing)
        return None
    layout.aside(
        _(
            "Bright tape on both heels and toes is tracked through the film, which is kept with its swing. A "
            "film without tape is marked by eye later, on the page Mark a film: keep it on your device until "
            "then."
        )
    )
    if reader.settings.consents_kept_elsewhere:
        layout.aside(_("Consents are kept elsewhere: check there that this student may be filmed."))
    if not people.keeps_film(reader, visit.student, visit.started_at.date()):
        layout.aside(_("Of a minor's film only the feet are kept: no consent covers keeping the original."))
    guessed = guesses(found)
    of = {film.name: _swing(film, found, guessed, visit.student) for film in found.films}
    chosen = {name: no for name, no in of.items() if no != LATER}
    if LATER in of.values():
        navigation.link("film", _("Mark a film →"), student=visit.student)
    if not chosen:
        return None
    if len(set(chosen.values())) < len(chosen):
        raise CallError(_("Two films are of the same swing; choose one of them."))
    return _how(visit, [film for film in found.films if film.name in chosen], chosen)


def _swing(film: PreviewedFilm, found: Preview, guessed: Mapping[str, int], student: str) -> int:
    if film.problem:
        st.error(film.problem)
        return LATER
    swings = [swing.no for swing in found.swings if swing.refused is None]
    names = {LATER: _("No tape: I mark it later")} | {n: _("Swing {n}").format(n=n) for n in swings}
    codes = list(names)
    return st.selectbox(
        words(film), codes, index=codes.index(guessed.get(film.name, LATER)),
        format_func=lambda code: names[code], key=f"film-{film.name}-{student}",
    )  # fmt: skip


def _how(visit: Visit, films: Sequence[PreviewedFilm], of: Mapping[str, int]) -> KeptFilms:
    rates = [film.rate for film in films if film.rate]
    usual = min(max(rates[0], SLOWEST), FASTEST) if rates else 30.0
    with st.container(horizontal=True):
        view = st.selectbox(
            _("Filmed from"), VIEWS, format_func=lambda code: VIEW_NAMES[code], key=f"view-{visit.student}"
        )
        rate = st.number_input(
            _("Pictures per second as filmed (more than it plays: slow motion)"), SLOWEST, FASTEST, usual,
            key=f"rate-{visit.student}",
        )  # fmt: skip
    return KeptFilms(of, float(rate), view)
