"""Who is looking. The demo academy lets anyone on this machine look as anyone; every other academy signs in.

A browser is let in by the address that `underfoot serve` prints, on its own machine alone, or by a head
coach's invitation (see `entrance`). Where there is an identity provider, people sign in there: that is OpenID
Connect through Streamlit (`[auth]` in .streamlit/secrets.toml). academy.toml says which verified e-mail
address is which person of the roster, and can end every older sign-in:

    [sign_in]
    revoked_before = 2026-05-01T08:00:00Z
    [sign_in.people]
    "coach@example.org" = "c01"

A visitor is who somebody showed themselves to be. They are let in again and again, each time by the newest
roster and academy.toml (see `gate`).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from streamlit.errors import StreamlitSecretNotFoundError  # noqa: TID251 - it shows nothing

from dashboard import admitted, layout, location, readers
from dashboard import elements as st
from dashboard.admitted import ENDED
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import ROLES
from warehouse import access_log, browsers, sign_ins
from warehouse.access import PROGRESS, Reader
from warehouse.errors import AccessError
from warehouse.home import Home
from warehouse.settings import Settings
from warehouse.sign_in_settings import SignInSettings, fold

NOT_INVENTED = mark(
    "academy.toml says demo = true, but this home holds people who are not the demo's. Take that line out "
    "and set up sign-in; the demo itself is made by: underfoot demo"
)


class Visitor(Protocol):
    """Somebody at the door."""

    def reader(self, home: Home) -> Reader:
        """What they may read now.

        Raises
            AccessError: they may not look.
            CallError: nothing is published.
        """


@dataclass(frozen=True)
class SignedIn:
    """Whoever signed in, by what the identity provider says of them."""

    claims: Mapping[str, Any]

    def reader(self, home: Home) -> Reader:
        """As of `Visitor`; a sign-in that is refused after it has opened a page has ended."""
        try:
            person = person_of(self.claims, home.settings().sign_in)
            found = readers.reader(home, person)
        except AccessError as refusal:
            sign_ins.end_opened(home, self.claims, str(refusal))
            raise
        if not sign_ins.is_open(home, self.claims, person, found.viewer.role):
            raise AccessError(_(ENDED))
        return found.by(lambda: self.reader(home))


@dataclass(frozen=True)
class LookingAs:
    """Whoever chose, on this machine, to look as someone of the demo."""

    person: str

    def reader(self, home: Home) -> Reader:
        """As of `Visitor`."""
        if not readers.all_invented(home):
            raise AccessError(_(NOT_INVENTED))
        return readers.reader(home, self.person).by(lambda: self.reader(home))


@dataclass(frozen=True)
class ByLink:
    """Whoever holds a link to a student's page."""

    token: str

    def reader(self, home: Home) -> Reader:
        """As of `Visitor`; the link is checked each time, so that ending it takes effect at once."""
        return readers.by_link(home, self.token).by(lambda: self.reader(home))


def let_in(home: Home, settings: Settings) -> Reader:
    """The reader of who is looking; the run ends here, with a sentence, while nobody may."""
    token = st.query_params.get("link")
    visitor: Visitor = ByLink(token) if token else _visitor(home, settings)
    try:
        return visitor.reader(home)
    except AccessError as refusal:
        why, page = str(refusal), PROGRESS if token else "Sign-in"
        role = "link" if token else None
        layout.once("refused", (page, why), lambda: access_log.refused(home, page, why, role=role))
        layout.say(_(why))
        st.stop()


def _visitor(home: Home, settings: Settings) -> Visitor:
    """Who is at the door, asked for where nobody has shown who they are."""
    if settings.demo and location.is_here():
        return LookingAs(_look_as(home))
    found = admitted.browser(home)
    if found is not None:
        with st.sidebar:
            st.button(_("Sign out"), on_click=browsers.end, args=(home, found.key))
        return admitted.InBrowser(found.key, found.person)
    if not _provider():
        layout.say(_(admitted.NOT_SIGNED_IN))
        st.stop()
    if not st.user.is_logged_in:
        st.title(settings.name)
        st.button(_("Sign in"), on_click=st.login, type="primary")
        st.stop()
    claims = st.user.to_dict()
    with st.sidebar:
        st.button(_("Sign out"), on_click=_sign_out, args=(home, claims))
    return SignedIn(claims)


def _sign_out(home: Home, claims: Mapping[str, Any]) -> None:
    """End the sign-in here first: its cookie may have been copied."""
    sign_ins.end(home, claims)
    st.logout()


def person_of(claims: Mapping[str, Any], settings: SignInSettings) -> str:
    """The roster code for a signed-in e-mail.

    Raises
        AccessError: the address is not verified, not named in academy.toml, or the sign-in is too old.
    """
    email = fold(str(claims.get("email") or ""))
    if claims.get("email_verified") is not True or not email:
        raise AccessError(
            _("Your identity provider has not verified your e-mail address; verify it and sign in again.")
        )
    if sign_ins.is_revoked(claims, settings):
        raise AccessError(_(ENDED))
    if email not in settings.people:
        raise AccessError(
            _("{email} is not named in this academy's sign-in list; ask the head coach to add it.").format(
                email=email
            )
        )
    return settings.people[email]


def _provider() -> bool:
    try:
        return "auth" in st.secrets
    except StreamlitSecretNotFoundError:
        return False


def _forget() -> None:
    """Someone else is looking now: what the one before chose may be outside their reach."""
    st.query_params.clear()
    st.session_state.pop("kept", None)


def _look_as(home: Home) -> str:
    if not readers.all_invented(home):
        layout.say(_(NOT_INVENTED))
        st.stop()
    everyone = readers.everyone(home)
    if not everyone:
        layout.say(
            _("The roster is empty. Deliver people.csv first: put it in the inbox and run: underfoot load")
        )
        st.stop()
    people = {v.person: v.display_name for v in everyone}
    names = {v.person: f"{v.display_name}, {ROLES.get(v.role, v.role)}" for v in everyone}
    with st.sidebar:
        chosen = layout.choose(_("Look as"), names, "as", on_change=_forget)
        layout.aside(_("Only the demo, and only on this machine, lets you choose."))
    with st.container(key="look-as"):
        layout.aside(_("Demo, invented people. Seen as {person}.").format(person=people[chosen]))
    return chosen
