"""Signing in with a real browser at a real provider: good, tampered, expired, replayed, foreign cookies and links."""

import json
import time
from contextlib import contextmanager

import pytest
from itsdangerous import URLSafeTimedSerializer

import builders
import oidc_provider
from browser import ARGS, free_port, require_chromium, served, settle
from warehouse import links
from warehouse.store import writer

pytestmark = [pytest.mark.browser, pytest.mark.slow]
COOKIE, COOKIE_SECRET = "_streamlit_user", "a-long-random-string-of-the-tests"
PAGE = "notes?student=s1"
LIST = '[sign_in.people]\n"coach@example.org" = "c1"\n"student@example.org" = "s1"\n'


@pytest.fixture(scope="module")
def academy(tmp_path_factory):
    """A home that is signed in to, its pages and its provider."""
    folder = tmp_path_factory.mktemp("signed-in")
    home = builders.make_home(folder / "academy", f'consents = "kept elsewhere"\n{builders.SETTINGS}{LIST}')
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    port = free_port()
    with oidc_provider.provider() as provider:
        secrets = folder / "secrets.toml"
        secrets.write_text(
            f'[auth]\nredirect_uri = "http://localhost:{port}/oauth2callback"\ncookie_secret = "{COOKIE_SECRET}"\n'
            f'client_id = "{oidc_provider.CLIENT}"\nclient_secret = "{oidc_provider.SECRET}"\n'
            f'server_metadata_url = "{provider.issuer}/.well-known/openid-configuration"\n'
        )
        with served(home, folder / "log", port=port, options={"secrets.files": [str(secrets)]}) as base:
            yield home, provider, base


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - where there is a browser

    path = require_chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        yield browser
        browser.close()


@contextmanager
def visitor(chromium, cookies=()):
    """A browser page of its own, with these cookies."""
    context = chromium.new_context()
    context.add_cookies(list(cookies))
    try:
        yield context.new_page()
    finally:
        context.close()


def text(page):
    settle(page)
    return page.inner_text('[data-testid="stMain"]')


def sign_in(page, base, provider, email="coach@example.org", **claims):
    provider.claims = {"sub": email, "email": email, "email_verified": True} | claims
    page.goto(f"{base}/{PAGE}")
    settle(page)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{base}/**")
    page.wait_for_selector('[data-testid="stSidebar"], [data-testid="stAlert"]', timeout=40_000)
    settle(page)
    page.goto(f"{base}/{PAGE}")


def cookies_of(page):
    return page.context.cookies()


def forged(cookies, *, secret=COOKIE_SECRET, age_s=0, **changes):
    """The cookies with the identity in them changed, signed with a secret at a time."""
    (own,) = [c for c in cookies if c["name"] == COOKIE]
    told = json.loads(URLSafeTimedSerializer(COOKIE_SECRET, salt=COOKIE).loads(own["value"]))

    class Aged(URLSafeTimedSerializer.default_signer):  # type: ignore[misc]
        def get_timestamp(self):
            return int(time.time()) - age_s

    value = URLSafeTimedSerializer(secret, salt=COOKIE, signer=Aged).dumps(json.dumps(told | changes))
    return [c | {"value": value} if c["name"] == COOKIE else c for c in cookies]


def test_a_verified_address_opens_its_own_pages_until_it_signs_out_and_no_copy_does_afterwards(
    academy, chromium
):
    _, provider, base = academy
    with visitor(chromium) as page:
        sign_in(page, base, provider)
        assert "Petra Quill" in text(page)
        assert "Mina Harrow" not in text(page)
        copied = cookies_of(page)
        with visitor(chromium, copied) as other:
            other.goto(f"{base}/{PAGE}")
            assert "Petra Quill" in text(other)
            page.get_by_role("button", name="Sign out").click()
            page.get_by_role("button", name="Sign in").wait_for(timeout=40_000)
            other.goto(f"{base}/{PAGE}")
            assert "This sign-in has ended" in text(other)
            assert "Petra Quill" not in text(other)
        with visitor(chromium, copied) as third:
            third.goto(f"{base}/student?student=s1")
            assert "This sign-in has ended" in text(third)


def test_opening_the_address_to_sign_out_ends_the_sign_in_and_no_copy_opens_anything_afterwards(
    academy, chromium
):
    _, provider, base = academy
    with visitor(chromium) as page:
        sign_in(page, base, provider)
        assert "Petra Quill" in text(page)
        copied = cookies_of(page)
        page.goto(f"{base}/auth/logout")
        with visitor(chromium, copied) as other:
            other.goto(f"{base}/{PAGE}")
            assert "This sign-in has ended" in text(other)
            assert "Petra Quill" not in text(other)


def test_tampered_foreign_expired_and_replayed_cookies_open_nothing(academy, chromium):
    _, provider, base = academy
    with visitor(chromium) as page:
        sign_in(page, base, provider)
        cookies = cookies_of(page)
    tampered = [c | {"value": "x" + c["value"][1:]} if c["name"] == COOKIE else c for c in cookies]
    cases = {
        "tampered": tampered,
        "foreign": forged(cookies, secret="another academy's"),  # noqa: S106 - of this test alone
        "of another origin": forged(cookies, origin="https://elsewhere.example.org"),
        "expired": forged(cookies, age_s=40 * 86_400),
    }
    for what, given in cases.items():
        with visitor(chromium, given) as page:
            page.goto(f"{base}/{PAGE}")
            assert "Petra Quill" not in text(page), what
            assert page.get_by_role("button", name="Sign in").count() == 1, what
    # Signed by the pages' own secret, as a cookie kept from before the home knew sign-ins would be.
    with visitor(chromium, forged(cookies, iat=time.time() - 3600, nonce="old")) as page:
        page.goto(f"{base}/{PAGE}")
        assert "This sign-in has ended" in text(page)
    with visitor(chromium, forged(cookies, email="student@example.org")) as page:
        page.goto(f"{base}/{PAGE}")  # the same sign-in, as another person: it ends
        assert "This sign-in has ended" in text(page)
    with visitor(chromium, cookies) as page:
        page.goto(f"{base}/{PAGE}")
        assert "This sign-in has ended" in text(page)


@pytest.mark.parametrize(
    ("claims", "said"),
    [({"email_verified": False}, "has not verified"), ({"email": "other@example.org"}, "is not named in this academy's sign-in list")],
)  # fmt: skip
def test_whom_the_provider_or_the_academy_does_not_vouch_for_reads_one_sentence(
    academy, chromium, claims, said
):
    _, provider, base = academy
    with visitor(chromium) as page:
        sign_in(page, base, provider, **claims)
        found = text(page)
    assert said in found
    assert "Petra Quill" not in found


@pytest.mark.parametrize(
    "spoil", [{"iss": "https://elsewhere.example.org"}, {"aud": "another"}, {"exp": 1}, {"nonce": "replayed"}]
)
def test_a_token_that_is_not_for_this_sign_in_signs_nobody_in(academy, chromium, spoil):
    _, provider, base = academy
    provider.spoil = spoil
    try:
        with visitor(chromium) as page:
            provider.claims = {"sub": "1", "email": "coach@example.org", "email_verified": True}
            page.goto(f"{base}/{PAGE}")
            settle(page)
            page.get_by_role("button", name="Sign in").click()
            page.wait_for_url(f"{base}/**")
            page.get_by_role("button", name="Sign in").wait_for(timeout=40_000)
            assert COOKIE not in {c["name"] for c in cookies_of(page)}
    finally:
        provider.spoil = {}


def test_an_open_tab_reads_no_more_once_its_address_is_taken_off_the_list(academy, chromium):
    home, provider, base = academy
    settings = home.settings_file.read_text("utf-8")
    try:
        with visitor(chromium) as page:
            sign_in(page, base, provider)
            assert "Petra Quill" in text(page)
            home.settings_file.write_text(settings.replace('"coach@example.org" = "c1"\n', ""), "utf-8")
            page.get_by_role("link", name="Student", exact=True).click()
            page.get_by_text("is not named in this academy's sign-in list").wait_for(timeout=40_000)
            assert "Petra Quill" not in text(page)
    finally:
        home.settings_file.write_text(settings, "utf-8")


def test_a_link_opens_one_page_alone_and_a_changed_or_foreign_one_nothing(academy, chromium, tmp_path):
    home, _, base = academy
    token = links.make_link(home, "s1", 30)
    other = builders.make_home(tmp_path / "other", home.settings_file.read_text("utf-8"))
    with writer(other) as w:
        builders.fill(w)
        w.publish()
    with visitor(chromium) as page:
        page.goto(f"{base}/progress?link={token}")
        assert "Petra Quill" in text(page)
        page.goto(f"{base}/students?link={token}")
        assert "This page is not for you" in text(page)
        for bad in ("x" + token[1:], token[:-3] + "abc", links.make_link(other, "s1", 30), "..", "<b>"):
            page.goto(f"{base}/progress?link={bad}")
            assert "This link is not valid" in text(page), bad
        links.end_links(home, "s1")
        page.goto(f"{base}/progress?link={token}")
        assert "This link has ended" in text(page)
