"""The addresses that let a browser in: who may use them, from where, once, and what the browser then holds."""

import asyncio
import json
from dataclasses import dataclass
from http.cookies import SimpleCookie
from types import SimpleNamespace
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette

import builders
from dashboard import admitted, elements, entrance
from dashboard.text import catalogue
from warehouse import browsers
from warehouse.errors import AccessError
from warehouse.store import writer


@dataclass(frozen=True)
class Answer:
    status_code: int
    headers: dict
    text: str

    @property
    def cookies(self):
        return {name: found.value for name, found in SimpleCookie(self.headers["set-cookie"]).items()}


@dataclass(frozen=True)
class Client:
    """A browser that knows one request at a time."""

    app: Starlette
    peer: str = "127.0.0.1"
    host: str = "localhost"

    def get(self, path, params=None, headers=None):
        return self._ask("GET", path, urlencode(params or {}).encode(), b"", headers or {})

    def post(self, path, data, headers=None):
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self._ask("POST", path, b"", urlencode(data).encode(), {**kind, **(headers or {})})

    def _ask(self, method, path, query, body, headers):
        sent = []
        scope = {
            "type": "http", "method": method, "path": path, "raw_path": path.encode(), "query_string": query,
            "headers": [(k.lower().encode(), v.encode()) for k, v in {"host": self.host, **headers}.items()],
            "client": (self.peer, 50_000), "server": (self.host, 80), "scheme": "http", "http_version": "1.1",
        }  # fmt: skip

        async def receive():
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message):
            sent.append(message)

        asyncio.run(self.app(scope, receive, send))
        given = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
        return Answer(sent[0]["status"], given, b"".join(m.get("body", b"") for m in sent[1:]).decode())


@pytest.fixture
def site(homes, monkeypatch, request):
    """A home of the test's own, no demo, and a browser at its addresses on this machine or elsewhere."""
    home = homes(request.node.name)
    home.settings_file.write_text(home.settings_file.read_text("utf-8").replace("demo = true\n", ""), "utf-8")
    monkeypatch.setenv("UNDERFOOT_HOME", str(home.path))
    monkeypatch.setattr(
        elements, "get_option", lambda name: "localhost" if name == "server.address" else None
    )
    app = Starlette(routes=list(entrance.ROUTES))

    return home, lambda **place: Client(app, **place)


def printed(home, person=None):
    return browsers.invite(home, person, browsers.START_GOOD, on_this_machine=True)


def looks_as(home, answer):
    """Who reads with the cookie of an answer."""
    found = browsers.find(home, answer.cookies[admitted.cookie_name(home)])
    return admitted.InBrowser(found.key, found.person).reader(home).viewer.person


@pytest.mark.parametrize(("person", "expected"), [(None, "h01"), ("c02", "c02")])
def test_the_printed_address_signs_in_the_head_coach_or_who_was_named_once(site, person, expected):
    home, client = site
    token = printed(home, person)
    answer = client().get("/start", params={"key": token})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"].lower()
    assert {"httponly", "samesite=lax", "path=/", f"max-age={30 * 86_400}"} <= set(cookie.split("; "))
    assert "secure" not in cookie
    assert looks_as(home, answer) == expected
    again = client().get("/start", params={"key": token})
    assert again.status_code == 403
    assert "set-cookie" not in again.headers


@pytest.mark.parametrize(
    "from_where",
    [{"peer": "192.0.2.7"}, {"host": "academy.example.org"}],
)
def test_the_printed_address_works_on_its_own_machine_alone(site, from_where):
    home, client = site
    token = printed(home)
    assert client(**from_where).get("/start", params={"key": token}).status_code == 403
    assert (
        client().get("/start", params={"key": token}, headers={"X-Forwarded-For": "127.0.0.1"}).status_code
        == 403
    )
    assert client().post("/invitation", data={"key": token}).status_code == 403
    for key in (token, printed(home, "c01")):
        looked = client().get("/invitation", params={"key": key})
        assert (looked.status_code, "This invitation is not valid" in looked.text) == (403, True)
    assert client().get("/start", params={"key": token}).status_code == 303  # none of these used it up


def test_an_invitation_is_used_by_a_tap_and_not_by_a_look(site):
    home, client = site
    token = browsers.invite(home, "c02", made_by="h01")
    for _ in range(3):
        page = client(peer="192.0.2.7", host="academy.example.org").get("/invitation", params={"key": token})
        assert page.status_code == 200
        assert "Cato Brandt" in page.text
        assert "set-cookie" not in page.headers
    answer = client(peer="192.0.2.7").post("/invitation", data={"key": token})
    assert answer.status_code == 303
    assert looks_as(home, answer) == "c02"
    assert "already been used" in client().get("/invitation", params={"key": token}).text
    assert client().post("/invitation", data={"key": token}).status_code == 403


@pytest.mark.parametrize(
    "sent",
    [{}, {"Sec-Fetch-Site": "none"}, {"Origin": "http://localhost"}],
)  # fmt: skip
def test_the_form_of_an_invitation_is_taken_from_these_pages(site, sent):
    home, client = site
    answer = client().post("/invitation", data={"key": browsers.invite(home, "c02")}, headers=sent)
    assert answer.status_code == 303


def test_what_a_browser_says_of_itself_is_kept_to_200_letters(site):
    home, client = site
    for said in ("a" * 300, "b"):
        sent = {"User-Agent": said}
        answer = client().post("/invitation", data={"key": browsers.invite(home, "c02")}, headers=sent)
        assert browsers.find(home, answer.cookies[admitted.cookie_name(home)]).device == said[:200]


def test_refusals_are_in_the_academys_language_and_damaged_sign_ins_in_a_sentence(site):
    home, client = site
    token = browsers.invite(home, "c02")
    text = home.settings_file.read_text("utf-8")
    home.settings_file.write_text(f'language = "de"\n{text}', "utf-8")
    try:
        assert "Diese Einladung" in client(peer="192.0.2.7").get("/invitation", params={"key": "x"}).text
        home.sign_ins.write_bytes(b"no database" * 100)
        answer = client().get("/invitation", params={"key": token})
    finally:
        catalogue.use("en")
    line = json.loads(home.access_log.read_text())
    assert (line["page"], line["from"], line["outcome"]) == ("Sign-in", "192.0.2.7", "refused")
    assert (answer.status_code, answer.headers["cache-control"]) == (409, "no-store")
    assert "read or written" in answer.text


def test_a_browser_let_in_for_this_machine_counts_nowhere_else_and_no_other_makes_an_academy(
    site, monkeypatch
):
    home, client = site
    of_printed = client().get("/start", params={"key": printed(home)})
    invited = client().post("/invitation", data={"key": browsers.invite(home, "c02")})
    for answer, here, counts, makes in (
        (of_printed, True, True, True), (of_printed, False, False, False),
        (invited, True, True, False), (invited, False, True, False),
    ):  # fmt: skip
        monkeypatch.setattr(elements, "context", SimpleNamespace(cookies=answer.cookies))
        monkeypatch.setattr(admitted, "is_here", lambda here=here: here)
        assert (admitted.browser(home) is not None) is counts
        if makes:
            admitted.founder(home).check()
        else:
            with pytest.raises(AccessError):
                admitted.founder(home)
    monkeypatch.setattr(elements, "context", SimpleNamespace(cookies={"another": "x"}))
    assert admitted.browser(home) is None


def test_where_nobody_is_head_coach_the_printed_address_says_whom_to_name(site):
    home, client = site
    answer = client().get("/start", params={"key": printed(home)})
    found = browsers.find(home, answer.cookies[admitted.cookie_name(home)])
    with writer(home) as w:
        w.execute("UPDATE academy.person SET role = 'coach' WHERE role = 'head_coach'")
        w.publish()
    with pytest.raises(AccessError, match="no head coach to look as"):
        admitted.InBrowser(found.key, found.person).reader(home)


@pytest.mark.parametrize(
    "sent",
    [{"Origin": "https://elsewhere.example.org"}, {"Origin": "null"}, {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
     {"Origin": "http://localhost", "Sec-Fetch-Site": "same-site"}],
)  # fmt: skip
def test_another_site_can_not_put_a_browser_in_somebodys_name(site, sent):
    home, client = site
    token = browsers.invite(home, "c02")
    assert client().post("/invitation", data={"key": token}, headers=sent).status_code == 403
    own = {
        "Origin": "null",
        "Sec-Fetch-Site": "same-origin",
    }  # as a browser says it where no referrer is sent
    assert client().post("/invitation", data={"key": token}, headers=own).status_code == 303


def test_a_bad_key_is_one_sentence_and_a_line_of_the_access_log(site):
    home, client = site
    answer = client().get("/invitation", params={"key": "<script>alert(1)</script>"})
    assert answer.status_code == 403
    assert "<script>" not in answer.text
    assert "not valid" in answer.text
    assert "not valid" in home.access_log.read_text()


def test_a_tab_of_an_ended_browser_reads_and_writes_nothing(site):
    home, client = site
    answer = client().post("/invitation", data={"key": browsers.invite(home, "c01")})
    found = browsers.find(home, answer.cookies[admitted.cookie_name(home)])
    reader = admitted.InBrowser(found.key, found.person).reader(home)
    browsers.end(home, found.key, "ended_by_head_coach")
    for late in (reader.anew, reader.still):
        with pytest.raises(AccessError, match="sign-in has ended"):
            late()


def test_leaving_the_roster_ends_the_browser_for_good(site):
    home, client = site
    answer = client().post("/invitation", data={"key": browsers.invite(home, "c01")})
    found = browsers.find(home, answer.cookies[admitted.cookie_name(home)])
    visitor = admitted.InBrowser(found.key, found.person)
    visitor.reader(home)
    for statement in ("UPDATE academy.person SET \"left\" = DATE '2026-01-01' WHERE person = 'c01'",
                      "UPDATE academy.person SET \"left\" = NULL WHERE person = 'c01'"):  # fmt: skip
        with writer(home) as w:
            w.execute(statement)
            w.publish()
        with pytest.raises(AccessError):
            visitor.reader(home)


def test_a_home_with_settings_alone_has_no_academy_yet_unless_it_says_it_is_the_demo(tmp_path):
    home = builders.make_home(tmp_path / "new", 'name = "A"\ntime_zone = "UTC"\n')
    assert admitted.is_new(home)
    home.settings_file.write_text('name = "A"\ntime_zone = "UTC"\ndemo = true\n')
    assert not admitted.is_new(home)
