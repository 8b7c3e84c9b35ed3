"""Who may look: the demo on this machine as anyone, everyone else by a verified address that the academy names."""

import json
from datetime import UTC, datetime

import pytest

from dashboard import signin
from warehouse import links
from warehouse.errors import AccessError

TABLE = {"people": {"Coach@Example.org": "c01"}}
CLAIMS = {"email": "coach@example.org", "email_verified": True, "iat": 1_780_000_000}


@pytest.mark.parametrize(
    ("address", "host", "here"),
    [
        ("localhost", None, True), ("localhost", "localhost:8501", True), ("127.0.0.1", "127.0.0.1:8501", True),
        ("::1", "[::1]:8501", True), ("localhost", "academy.example.org", False), ("192.0.2.1", "localhost:8501", False),
        (None, "localhost:8501", False), ("localhost", "localhost.example.org:8501", False),
    ],
)  # fmt: skip
def test_look_as_is_only_for_this_machine_by_address_and_by_the_name_asked_for(address, host, here):
    assert signin.on_this_machine(address, host) is here


def test_a_verified_address_opens_the_person_it_names_whatever_its_case():
    assert signin.person_of(CLAIMS, TABLE) == "c01"


@pytest.mark.parametrize("verified", [False, None, "true", 1])
def test_only_a_plain_true_counts_as_verified(verified):
    with pytest.raises(AccessError, match="verif"):
        signin.person_of(CLAIMS | {"email_verified": verified}, TABLE)


def test_an_address_that_is_not_named_is_refused():
    with pytest.raises(AccessError, match="not named"):
        signin.person_of(CLAIMS | {"email": "other@example.org"}, TABLE)


def test_a_sign_in_older_than_the_academys_line_has_ended():
    line = datetime.fromtimestamp(CLAIMS["iat"] + 1, UTC)
    with pytest.raises(AccessError, match="ended"):
        signin.person_of(CLAIMS, TABLE | {"revoked_before": line})
    with pytest.raises(AccessError, match="ended"):
        signin.person_of({k: v for k, v in CLAIMS.items() if k != "iat"}, TABLE | {"revoked_before": line})
    assert signin.person_of(CLAIMS | {"iat": CLAIMS["iat"] + 2}, TABLE | {"revoked_before": line}) == "c01"


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
    assert "This link is not good" in page_text(visit("full", "progress", "h01", link="x.y"))


class SignedIn:
    """Whoever the identity provider says is there."""

    is_logged_in = True

    def __init__(self, **claims: object) -> None:
        self.to_dict = lambda: CLAIMS | claims


def refusals(home) -> list[dict[str, object]]:
    """The refused sign-ins in the access log, without their times."""
    lines = home.access_log.read_text("utf-8").splitlines() if home.access_log.exists() else []
    return [line for line in map(json.loads, lines) if line["page"] == "Sign-in" and line.pop("at")]


def test_a_refused_sign_in_is_in_the_access_log_once_a_visit(homes, visit, page_text, monkeypatch):
    monkeypatch.setattr(signin, "_provider", lambda: True)
    monkeypatch.setattr(signin.st, "user", SignedIn(email="other@example.org"))
    before = refusals(homes("real"))
    at = visit("real", "progress", "h01")
    told = "other@example.org is not named in this academy's sign-in list"
    assert told in page_text(at.run())
    (one,) = refusals(homes("real"))[len(before) :]
    assert one.pop("why").startswith(told)
    assert one == {"viewer": None, "role": None, "page": "Sign-in", "student": None, "outcome": "refused"}
    monkeypatch.setattr(signin.st, "user", SignedIn(email_verified=False))
    at.run()
    assert "has not verified" in str(refusals(homes("real"))[-1]["why"])
    visit("real", "progress", "h01")  # another visit
    assert len(refusals(homes("real"))) == len(before) + 3


def test_a_sign_in_that_is_named_leaves_no_refusal(homes, visit, page_text, monkeypatch):
    monkeypatch.setattr(signin, "_provider", lambda: True)
    monkeypatch.setattr(signin.st, "user", SignedIn())
    monkeypatch.setattr(signin, "sign_in_table", lambda _: TABLE)
    before = refusals(homes("real"))
    assert "Students are in order of name" in page_text(visit("real", "students", "h01"))
    assert refusals(homes("real")) == before
