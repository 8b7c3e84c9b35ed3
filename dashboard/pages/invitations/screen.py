"""Invitations: let somebody in by a link that works once; see who is in, and end it."""

from collections.abc import Callable, Sequence
from functools import partial

from dashboard import elements as st
from dashboard import layout, location
from dashboard.pages.invitations import content
from dashboard.pages.invitations.content import Line, Made
from dashboard.text.catalogue import _
from dashboard.text.numbers import count
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title(_("Invitations"), anchor=False)
    st.write(
        _(
            "An invitation is for one person and lets one browser in, for 30 days. They see what their role "
            "may see, as if they had signed in."
        )
    )
    _invite(reader)
    with layout.part(_("Not used yet")):
        _lines(
            content.open_invitations(reader), _("Withdraw"), partial(content.withdraw, reader),
            _("No invitation is open."),
        )  # fmt: skip
    with layout.part(_("Browsers let in")):
        _lines(
            content.open_browsers(reader), _("End"), partial(content.end, reader),
            _("No browser was let in by an invitation."),
        )  # fmt: skip


def _invite(reader: Reader) -> None:
    names = content.people(reader)
    person = layout.choose(_("For whom"), names, "person")
    days = st.selectbox(
        _("Valid for"), content.DAYS, index=1, format_func=lambda n: count(n, "day"), key="days"
    )
    if st.button(_("Make an invitation"), type="primary", key="invite"):
        made = content.invite(reader, person, days, location.address())
        st.session_state["invitation"] = (reader.viewer.person, made)
        st.rerun()
    by, made = st.session_state.get("invitation", (None, None))
    if by == reader.viewer.person and made is not None:
        _made(made)


def _made(made: Made) -> None:
    """The link and its QR code, until the page is left."""
    with st.container(border=True):
        st.write(
            _("For {name}. It works once: open it on their device, or send it to them.").format(
                name=made.name
            )
        )
        st.image(made.qr(), alt=_("QR code of the invitation"))
        st.code(made.link, language=None, wrap_lines=True)
        if content.is_local(made.link):
            layout.say(
                _(
                    "These pages can be reached on this machine alone, and so can this link. To let others "
                    "reach them: underfoot serve --tls, or a proxy (see the README)."
                )
            )


def _lines(lines: Sequence[Line], label: str, end: Callable[[str], None], nothing: str) -> None:
    if not lines:
        st.write(nothing)
    for line in lines:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(line.sentence)
            if st.button(label, key=f"end-{line.key}"):
                end(line.key)
                st.rerun()
