"""Who may look: the demo on this machine as anyone, everyone else by a verified address that the academy names."""

import json
import time
from datetime import UTC, datetime

import pytest

from dashboard import location, readers, signin
from dashboard.text import catalogue
from warehouse import browsers, invented, links, sign_ins
from warehouse.errors import AccessError
from warehouse.sign_in_settings import SignInSettings

TABLE = SignInSettings({"coach@example.org": "c01"})
CLAIMS = {
    "email": "coach@example.org",
    "email_verified": True,
    "iat": 1_780_000_000,
    "sub": "1",
    "nonce": "n",
}


@pytest.mark.parametrize(
    ("address", "peer", "headers", "here"),
    [
        ("localhost", None, {}, True), ("localhost", "127.0.0.1", {"Host": "localhost:8501"}, True),
        ("127.0.0.1", "::1", {"host": "127.0.0.1:8501"}, True), ("::1", None, {"Host": "[::1]:8501"}, True),
        ("::1", None, {"Host": "[::1]"}, True), ("localhost", None, {"Host": "localhost"}, True),
        ("localhost", None, {"Host": "academy.example.org"}, False),
        ("localhost", None, {"Host": "localhost.example.org:8501"}, False),
        ("192.0.2.1", None, {"Host": "localhost:8501"}, False), (None, None, {"Host": "localhost:8501"}, False),
        ("0.0.0.0", "127.0.0.1", {"Host": "localhost:8501"}, False),  # noqa: S104 - the point of the test
        ("localhost", "192.0.2.7", {"Host": "localhost:8501"}, False),
        ("localhost", None, {"Host": "localhost:8501", "X-Forwarded-For": "127.0.0.1"}, False),
        ("localhost", None, {"Host": "localhost:8501", "forwarded": "for=127.0.0.1"}, False),
        ("localhost", None, {"Host": "localhost:8501", "Via": "1.1 x"}, False),
        ("localhost", None, {"Host": "localhost:8501", "X-Real-IP": "127.0.0.1"}, False),
    ],
)  # fmt: skip
def test_look_as_is_only_for_this_machine_and_a_header_speaks_against_it_at_most(
    address, peer, headers, here
):
    assert location.on_this_machine(address, peer, headers) is here


def test_a_verified_address_opens_the_person_it_names_whatever_its_case():
    for email in ("coach@example.org", " Coach@Example.ORG "):
        assert signin.person_of(CLAIMS | {"email": email}, TABLE) == "c01"


@pytest.mark.parametrize(
    "email", ["coac\u210e@example.org", "coach@e\u017fample.org", "coach@example.org\u2003", "", None]
)
def test_a_letter_that_only_looks_like_another_is_another(email):
    with pytest.raises(AccessError):
        signin.person_of(CLAIMS | {"email": email}, TABLE)
    kelvin = SignInSettings({"kim@example.org": "c01"})
    with pytest.raises(AccessError, match="not named"):
        signin.person_of(CLAIMS | {"email": "\u212aim@example.org"}, kelvin)


@pytest.mark.parametrize("verified", [False, None, "true", 1])
def test_only_a_plain_true_counts_as_verified(verified):
    with pytest.raises(AccessError, match="verif"):
        signin.person_of(CLAIMS | {"email_verified": verified}, TABLE)


@pytest.mark.parametrize("email", ["", " ", None])
def test_where_no_address_is_given_none_counts_as_verified(email):
    with pytest.raises(AccessError, match="has not verified"):
        signin.person_of(CLAIMS | {"email": email}, SignInSettings({"none": "c01", "": "c01"}))


def test_signing_out_ends_the_sign_in_before_it_ends_the_cookie(home, monkeypatch):
    claims = CLAIMS | {"iat": time.time()}
    assert sign_ins.is_open(home, claims, "c01", "coach")
    ended = []
    monkeypatch.setattr(
        signin.st, "logout", lambda: ended.append(sign_ins.is_open(home, claims, "c01", "coach"))
    )
    signin._sign_out(home, claims)
    assert ended == [False]


def test_an_address_that_is_not_named_is_refused():
    with pytest.raises(AccessError, match="not named"):
        signin.person_of(CLAIMS | {"email": "other@example.org"}, TABLE)


def test_a_sign_in_older_than_the_academys_line_has_ended():
    def at(line, **claims):
        table = SignInSettings(TABLE.people, datetime.fromtimestamp(line, UTC))
        return signin.person_of(CLAIMS | claims, table)

    with pytest.raises(AccessError, match="ended"):
        at(CLAIMS["iat"] + 1)
    for wrong in (None, "1780000000", True):
        with pytest.raises(AccessError, match="ended"):
            at(CLAIMS["iat"] + 1, iat=wrong)
    assert at(CLAIMS["iat"]) == "c01"


def test_a_link_opens_one_progress_page_and_no_other_page(homes, visit, page_text, monkeypatch):
    monkeypatch.setattr(links, "shared", lambda *_: True)
    token = links.make_link(homes("full"), "s02", 30)
    at = visit("full", "progress", "h01", link=token)
    assert "Sven Probe" in page_text(at)
    assert "Look as" not in page_text(at)
    at = visit("full", "students", "h01", link=token)
    assert "This page is not for you" in page_text(at)
    at = visit("full", "progress", "h01", link=token, student="s01")
    assert "There is no student s01 that you may see" in page_text(at)
    assert "This link is not valid" in page_text(visit("full", "progress", "h01", link="x.y"))


def test_whoever_holds_a_bad_link_is_answered_in_the_academys_language(homes, visit, page_text):
    home = homes("german-link")
    home.settings_file.write_text(f'language = "de"\n{home.settings_file.read_text("utf-8")}', "utf-8")
    try:
        assert "Dieser Link ist nicht gültig" in page_text(
            visit("german-link", "progress", "h01", link="x.y")
        )
    finally:
        catalogue.use("en")


class SignedIn:
    """Whoever the identity provider says is there."""

    is_logged_in = True

    def __init__(self, **claims: object) -> None:
        self.to_dict = lambda: CLAIMS | {"iat": time.time()} | claims


def sign_in(monkeypatch, **claims: object) -> None:
    """Let an identity provider say who is there, in a browser without a cookie of ours."""
    monkeypatch.setattr(signin, "_provider", lambda: True)
    monkeypatch.setattr(signin.admitted, "browser", lambda _home: None)
    monkeypatch.setattr(signin.st, "user", SignedIn(**claims))


def name_coach(home, line='"coach@example.org" = "h01"'):
    """Name an address in academy.toml."""
    text = home.settings_file.read_text("utf-8").split("[sign_in")[0]
    home.settings_file.write_text(f"{text}[sign_in.people]\n{line}\n", "utf-8")


def refusals(home) -> list[dict[str, object]]:
    """The refused sign-ins in the access log, without their times."""
    lines = home.access_log.read_text("utf-8").splitlines() if home.access_log.exists() else []
    return [line for line in map(json.loads, lines) if line["page"] == "Sign-in" and line.pop("at")]


def test_a_refused_sign_in_is_in_the_access_log_once_a_visit(homes, visit, page_text, monkeypatch):
    sign_in(monkeypatch, email="other@example.org")
    before = refusals(homes("real"))
    at = visit("real", "progress", "h01")
    told = "other@example.org is not named in this academy's sign-in list"
    assert told in page_text(at.run())
    assert not at.exception
    (one,) = refusals(homes("real"))[len(before) :]
    assert one.pop("why").startswith(told)
    assert {
        "viewer": None,
        "role": None,
        "page": "Sign-in",
        "student": None,
        "outcome": "refused",
    }.items() <= one.items()
    monkeypatch.setattr(signin.st, "user", SignedIn(email_verified=False))
    at.run()
    assert "has not verified" in str(refusals(homes("real"))[-1]["why"])
    visit("real", "progress", "h01")  # another visit
    assert len(refusals(homes("real"))) == len(before) + 3


def test_a_sign_in_that_is_named_leaves_no_refusal(homes, visit, page_text, monkeypatch):
    sign_in(monkeypatch)
    name_coach(homes("real"))
    before = refusals(homes("real"))
    at = visit("real", "students", "h01")
    assert "Farthest outside the target first" in page_text(at)
    assert [button.label for button in at.sidebar.button if button.label.startswith("Sign")] == ["Sign out"]
    assert refusals(homes("real")) == before


def test_whoevers_browser_was_let_in_signs_out_of_it_for_good(homes, visit, monkeypatch):
    home = homes("real")
    secret = browsers.let_in(home, browsers.invite(home, "h01"), "")
    monkeypatch.setattr(signin.admitted, "_secret", lambda _home: secret)
    at = visit("real", "invitations", "h01")
    (out,) = (button for button in at.sidebar.button if button.label.startswith("Sign"))
    assert out.label == "Sign out"
    out.click().run()
    assert browsers.find(home, secret) is None


@pytest.mark.parametrize("provider", [True, False])
def test_who_has_not_signed_in_sees_the_way_in_and_nothing_else(
    homes, visit, page_text, monkeypatch, provider
):
    sign_in(monkeypatch)
    monkeypatch.setattr(signin, "_provider", lambda: provider)
    monkeypatch.setattr(SignedIn, "is_logged_in", False)
    at = visit("real", "students", "h01")
    assert [title.value for title in at.title] == [homes("real").settings().name] * provider
    assert [button.label for button in at.button] == ["Sign in"] * provider
    assert ("This browser is not signed in" in page_text(at)) is not provider
    assert "Farthest outside" not in page_text(at)
    assert not {"Sanna Test", "Sven Probe"} & set(page_text(at).splitlines())
    assert not at.exception


def test_a_demo_without_anyone_says_what_to_deliver(visit, page_text):
    at = visit("nobody", "students", "h01")
    told = "The roster is empty. Deliver people.csv first: put it in the inbox and run: underfoot load"
    assert told in page_text(at).splitlines()
    assert "Look as" not in {box.label for box in at.sidebar.selectbox}
    assert not at.exception


def test_whoever_is_looked_as_next_starts_without_what_the_one_before_chose(monkeypatch):
    chosen, state = {"student": "s01", "as": "c01"}, {"kept": {"student": "s01"}, "language": "en"}
    monkeypatch.setattr(signin.st, "query_params", chosen)
    monkeypatch.setattr(signin.st, "session_state", state)
    signin._forget()
    assert (chosen, state) == ({}, {"language": "en"})


def test_sign_in_is_set_up_where_the_secrets_name_a_provider(monkeypatch):
    monkeypatch.setattr(signin.st, "secrets", {"auth": {"client_id": "x"}})
    assert signin._provider()
    monkeypatch.setattr(signin.st, "secrets", {"other": 1})
    assert not signin._provider()


def test_a_demo_with_anyone_else_in_it_shows_nothing_and_no_open_visit_reads_on(
    homes, visit, page_text, monkeypatch
):
    reader = signin.LookingAs("c01")
    at = visit("full", "students", "c01")
    assert reader.reader(homes("full")).students == ["s01", "s03"]
    monkeypatch.setattr(invented, "people_digest", lambda _: "others")
    monkeypatch.setattr(readers._newest(homes("full")), "invented", {})  # as of a snapshot published since
    assert "people who are not the demo's" in page_text(at.run())
    assert not at.exception
    assert "Sanna Test" not in page_text(at)
    with pytest.raises(AccessError, match="not the demo's"):
        reader.reader(homes("full"))
