"""One recording of several people: whose each part is, and which swing is somebody else's, one tap each."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from dashboard import elements as st
from dashboard import layout
from dashboard.pages.session import content, found_swings
from dashboard.pages.session.content import Files, Visit
from dashboard.pages.session.saving import Part
from dashboard.queries import people
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, number
from warehouse.access import Reader
from warehouse.preview import Preview, Share
from warehouse.vocabulary import is_film, is_photo

NOBODY, MOVED = "-", "move:"  # beside the codes of students; no code is written so


def is_several(student: str, shares: Sequence[Share]) -> bool:
    """Whether it is left as of several people: a coach may say that it is all one person's."""
    st.header(_("{people} in this recording").format(people=count(len(shares), "person")), anchor=False)
    return not st.checkbox(_("It is all one person's"), key=f"alone-{student}")


def parts_of(
    shares: Sequence[Share], owners: Sequence[str | None], moved: Mapping[int, str]
) -> dict[str, tuple[int, ...]]:
    """The swings of each student, by their numbers in the recording; a moved one is its new owner's."""
    of = {no: owner for share, owner in zip(shares, owners, strict=True) for no in share.swings}
    of |= {no: owner for no, owner in moved.items() if of.get(no)}
    students = dict.fromkeys(owner for owner in of.values() if owner)
    return {student: tuple(sorted(no for no in of if of[no] == student)) for student in students}


def parts(reader: Reader, visit: Visit, files: Files, found: Preview) -> list[Part]:
    """Each student's part of a recording; none while it is not said whose one is, or one can't be saved."""
    names = dict(people.students(reader).select("student", "name").iter_rows())
    owners = [_owner(visit.student, share, names) for share in found.shares]
    if None in owners:
        layout.say(_("Say whose each part is."))
        return []
    moved: dict[int, str] = st.session_state.setdefault(f"moved-{visit.student}", {})
    real = [None if owner == NOBODY else owner for owner in owners]
    swings = parts_of(found.shares, real, moved)
    made = [_part(reader, visit, files, student, own, names, list(swings)) for student, own in swings.items()]
    return [one for one in made if one is not None] if None not in made else []


def _owner(student: str, share: Share, names: dict[str, str]) -> str | None:
    """Whose a part is: the likeliest first, chosen already where that is all but sure."""
    codes = [*(code for code in share.likely if code in names), NOBODY]
    turns = _numbers(share.swings)
    said = _("{swings} ({numbers}), about {mass}").format(
        swings=count(len(share.swings), "swing"), numbers=turns, mass=number(share.mass_kg, "kg")
    )
    chosen = st.selectbox(
        said, codes, index=codes.index(share.owner) if share.owner in codes else None,
        format_func=lambda code: names.get(code) or _("Nobody here: leave them out"),
        key=f"share-{share.swings[0]}-{student}", placeholder=_("Choose"),
    )  # fmt: skip
    return None if chosen is None else str(chosen)


def _numbers(swings: Sequence[int]) -> str:
    """Numbers with runs drawn together: 1–3, 7."""
    runs: list[list[int]] = []
    for no in swings:
        if runs and no == runs[-1][-1] + 1:
            runs[-1].append(no)
        else:
            runs.append([no])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)


def _part(
    reader: Reader, visit: Visit, files: Files, student: str, own: tuple[int, ...], names: dict[str, str],
    students: Sequence[str],
) -> Part | None:  # fmt: skip
    """One student's swings as they would be saved; None where they can't be."""
    st.header(names[student], anchor=False)
    if student != visit.student and (stops := content.stops(reader, student)):
        st.warning(stops)
        return None
    mass = visit.body_mass_kg if student == visit.student else None
    handed = visit.handed if student == visit.student else None
    theirs = replace(visit, student=student, body_mass_kg=mass, handed=handed, only=own)
    beside = student == visit.student  # photos of the notebook and the like are kept with one session
    own_files = tuple(f for f in files if beside or not (is_photo(f[0]) or is_film(f[0])))
    opened = found_swings.read(reader, theirs, own_files)
    for _reason, sentence in opened.preview.problems:
        st.error(sentence)
    others = {
        f"{MOVED}{code}": _("It is {name}'s").format(name=names[code]) for code in students if code != student
    }
    whole = len(opened.preview.swings) == len(own)
    said = found_swings.choose(reader, opened.preview, student, own, others if whole else found_swings.EMPTY)
    going = {
        own[no - 1]: one.mark.removeprefix(MOVED) for no, one in said.items() if one.mark.startswith(MOVED)
    }
    if going:
        st.session_state[f"moved-{visit.student}"].update(going)
        for no in going:
            st.session_state.pop(f"mark-{no}-{student}", None)
        st.rerun()
    return theirs, opened, said
