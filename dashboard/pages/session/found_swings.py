"""The swings that were found in what was brought: read once, shown small, each with what it is."""

import hashlib
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from dashboard import elements as st
from dashboard import layout
from dashboard.charts.swing_line import swing_line
from dashboard.pages.session import content, moments
from dashboard.pages.session.content import Files, Opened, Visit
from dashboard.pages.session.saving import MarkedSwing
from dashboard.queries import people
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import count, number, share
from warehouse.access import Reader
from warehouse.preview import Preview, PreviewedSwing
from warehouse.vocabulary import NOT_A_SWING, PRACTICE_SWING, SWING, UNCERTAIN_SWING

EMPTY: Mapping[str, str] = MappingProxyType({})
MARKS = Words({
    SWING: "A swing", PRACTICE_SWING: "A practice swing", UNCERTAIN_SWING: "Perhaps a swing: say what it is",
    NOT_A_SWING: "Leave it out",
})  # fmt: skip


def read(reader: Reader, visit: Visit, files: Files) -> Opened:
    """The files as they would be read, kept for as long as the same is asked in this visit."""
    key = hashlib.sha256(
        repr((visit.device, visit.kind, visit.answers, visit.body_mass_kg, visit.handed, visit.only)).encode()
    )
    for name, data in files:
        key.update(name.encode() + hashlib.sha256(data).digest())
    kept: dict[str, Opened] = st.session_state.setdefault(f"opened-{visit.student}", {})
    digest = f"{key.hexdigest()}-{reader.settings.version}"
    if digest not in kept:
        kept[digest] = content.opened(reader, visit, files)
    return kept[digest]


def choose(
    reader: Reader,
    found: Preview,
    student: str,
    numbers: Sequence[int] = (),
    movable: Mapping[str, str] = EMPTY,
) -> dict[int, MarkedSwing]:
    """The swings, each small and with what it is; what was chosen for each by its number.

    `numbers`: what each is in a recording of several people. `movable`: code → words of who else it may be.
    """
    good = [swing for swing in found.swings if swing.refused is None]
    n = sum(swing.kind == SWING for swing in good)
    st.header(_("{swings} found").format(swings=count(n, "swing")), anchor=False)
    layout.aside(
        _(
            "Load under each foot over time: solid for the lead foot, dashed for the trail foot. Upright "
            "lines are the moments of the swing."
        )
    )
    drills = dict(people.drills(reader).select("drill", "name").iter_rows())
    options = dict(MARKS) | {code: _("After: {drill}").format(drill=name) for code, name in drills.items()}
    options |= movable
    chosen = {}
    with st.container(horizontal=True):
        for swing in good:
            of = numbers[swing.no - 1] if 0 < swing.no <= len(numbers) else swing.no
            chosen[swing.no] = _one(swing, options, f"{of}-{student}")
    for swing in found.swings:
        if swing.refused is not None:
            st.warning(_("Swing {n} can't be used. {why}").format(n=swing.no, why=swing.refused))
    return chosen


def _one(swing: PreviewedSwing, options: Mapping[str, str], key: str) -> MarkedSwing:
    """One swing, small, or large with its moments; what it is, and where its moments were put."""
    moved: dict[str, float] = st.session_state.setdefault(f"moments-{key}", {})
    large = st.session_state.setdefault(f"large-{key}", False)
    said = _("Swing {n}, {seconds}").format(n=swing.no, seconds=number(swing.seconds, "s", 1))
    if swing.sure is not None:
        said = _("{said}, {sure} sure").format(said=said, sure=share(swing.sure))
    codes = [code for code in options if code != UNCERTAIN_SWING or swing.kind == code]
    with st.container(width=moments.size()[0] if large else 240):
        if large:
            moments.show(swing, f"moments-{key}")
        else:
            posts = moments.times(swing, moved)
            st.drawing(swing_line(swing.t_s, swing.lead_n, swing.trail_n, posts), said)
        mark = st.selectbox(
            said,
            codes,
            index=codes.index(swing.kind),
            format_func=lambda code: options[code],
            key=f"mark-{key}",
        )
        if st.button(_("Done") if large else _("Moments of swing {n}").format(n=swing.no), key=f"open-{key}"):
            st.session_state[f"large-{key}"] = not large
            st.rerun()
    return MarkedSwing(mark, dict(moved))
