"""Who is looking. The demo academy lets anyone on this machine look as anyone; every other academy signs in.

Sign-in is OpenID Connect through Streamlit (`[auth]` in .streamlit/secrets.toml). academy.toml says which
verified e-mail address is which person of the roster, and can end every older sign-in:

    [sign_in]
    revoked_before = 2026-05-01T08:00:00Z
    [sign_in.people]
    "coach@example.org" = "c01"
"""

import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from streamlit.errors import StreamlitSecretNotFoundError  # noqa: TID251 - it shows nothing

from dashboard import elements as st
from dashboard import layout, readers
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import ROLES
from warehouse.access import log_refused_sign_in
from warehouse.errors import AccessError
from warehouse.home import Home
from warehouse.settings import Settings

LOOPBACK = ("localhost", "127.0.0.1", "::1")
SET_UP = mark(
    "Sign-in must be set up before these pages open: add your identity provider under [auth] in "
    ".streamlit/secrets.toml and name who may look under [sign_in.people] in academy.toml."
)


def person(home: Home, settings: Settings) -> str:
    """The roster code of who is looking; the run ends here, with a sentence, while nobody is known."""
    if settings.demo and on_this_machine(st.get_option("server.address"), _host()):
        return _look_as(home)
    if not _provider():
        layout.say(_(SET_UP))
        st.stop()
    if not st.user.is_logged_in:
        st.title(settings.name)
        st.button(_("Sign in"), on_click=st.login, type="primary")
        st.stop()
    with st.sidebar:
        st.button(_("Sign out"), on_click=st.logout)
    try:
        return person_of(st.user.to_dict(), sign_in_table(home))
    except AccessError as refusal:
        why = str(refusal)
        layout.once("refused-sign-ins", why, lambda: log_refused_sign_in(home, why))
        layout.say(why)
        st.stop()


def on_this_machine(address: str | None, host: str | None) -> bool:
    """Whether the pages are served on the loopback address only, and were asked for under it.

    `host` is the Host header (null when there is none): behind a proxy the server's own address says nothing.
    """
    if address not in LOOPBACK:
        return False
    if not host:
        return True
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    return name.strip("[]") in LOOPBACK


def person_of(claims: Mapping[str, Any], table: Mapping[str, Any]) -> str:
    """The roster code for a signed-in e-mail.

    Raises
        AccessError: the address is not verified, not named in academy.toml, or the sign-in is too old.
    """
    email = str(claims.get("email") or "").strip().lower()
    if claims.get("email_verified") is not True or not email:
        raise AccessError(
            _("Your identity provider has not verified your e-mail address; verify it and sign in again.")
        )
    revoked = table.get("revoked_before")
    if isinstance(revoked, datetime):
        issued = claims.get("iat")
        since = revoked if revoked.tzinfo else revoked.replace(tzinfo=UTC)
        if not isinstance(issued, int | float) or datetime.fromtimestamp(issued, UTC) < since:
            raise AccessError(_("This sign-in has ended; sign out and sign in again."))
    people = {str(key).strip().lower(): str(code) for key, code in table.get("people", {}).items()}
    if email not in people:
        raise AccessError(
            _("{email} is not named in this academy's sign-in list; ask the head coach to add it.").format(
                email=email
            )
        )
    return people[email]


def sign_in_table(home: Home) -> Mapping[str, Any]:
    """[sign_in] of academy.toml, read again at every rerun so that a change takes effect at once."""
    table = tomllib.loads(home.settings_file.read_text(encoding="utf-8-sig")).get("sign_in", {})
    return table if isinstance(table, dict) else {}


def _host() -> str | None:
    return st.context.headers.get("Host")


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
    everyone = readers.everyone(home)
    if not everyone:
        layout.say(
            _("The roster is empty. Deliver people.csv first: put it in the inbox and run: underfoot load")
        )
        st.stop()
    names = {v.person: f"{v.display_name}, {ROLES.get(v.role, v.role)}" for v in everyone}
    with st.sidebar:
        chosen = layout.choose(_("Look as"), names, "as", on_change=_forget)
    with st.container(key="look-as"):
        layout.say(
            _(
                "Demo academy with invented people. You are looking as {person}. Only the demo, and only on "
                "this machine, lets you choose."
            ).format(person=names[chosen])
        )
    return chosen
