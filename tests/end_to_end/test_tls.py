"""Beyond this machine the pages are served over TLS alone: by themselves, or behind a declared proxy."""

import http.client
import shutil
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

import builders
import required
from browser import LIMIT_MS, ROOT, free_port
from command import underfoot_command
from dashboard.serving import ADDRESS, Place, streamlit
from warehouse import browsers
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.store import writer


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A self-signed certificate of localhost and its key, as PEM files."""
    folder = tmp_path_factory.mktemp("tls")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(1)
        .not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    (folder / "cert.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "key.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return folder / "cert.pem", folder / "key.pem"


@contextmanager
def served(home: Home, place: Place, ask: Callable, monkeypatch, log_file: Path) -> Iterator[None]:
    """The pages at a place, until the block ends; `ask` answers once they do."""
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    place.check()
    for name, value in {"UNDERFOOT_HOME": home.path, ADDRESS: place.public, "PYTHONPATH": ROOT}.items():
        monkeypatch.setenv(name, str(value))
    with (
        log_file.open("w") as log,
        subprocess.Popen(streamlit(place.options()), stdout=log, stderr=log, cwd=ROOT) as server,
    ):
        try:
            end = time.monotonic() + 120
            while time.monotonic() < end:
                with suppress(OSError):
                    if ask("GET", "/_stcore/health").status == 200:
                        break
                time.sleep(0.1)
            yield
        finally:
            server.terminate()


def asking(port: int, certificate: tuple[Path, Path]) -> Callable:
    """ask(method, path, body, headers) → answer, over TLS on a port of localhost."""
    trusted = ssl.create_default_context(cafile=certificate[0])

    def ask(method, path, body=None, headers=None):
        asked = http.client.HTTPSConnection("localhost", port, context=trusted, timeout=20)
        asked.request(method, path, body, headers or {})
        answer = asked.getresponse()
        asked.close()
        return answer

    return ask


@pytest.fixture
def served_over_tls(home, certificate, tmp_path, monkeypatch):
    """The pages over TLS of their own, and how to ask them."""
    port = free_port()
    place, ask = Place(port, certificate, f"https://localhost:{port}"), asking(port, certificate)
    with served(home, place, ask, monkeypatch, tmp_path / "log"):
        yield ask, place


@pytest.fixture
def served_behind_caddy(home, certificate, tmp_path, monkeypatch):
    """The pages behind Debian's Caddy by the recipe, with a certificate of the test's own; the public address."""
    if (caddy := shutil.which("caddy")) is None:
        required.missing("Caddy (Debian's package caddy) is not installed.")
    outside, inside = free_port(), free_port()
    recipe = (ROOT / ".ci" / "deploy" / "Caddyfile").read_text(encoding="utf-8")
    own = (
        recipe.replace("pages.example.org {", f"https://localhost:{outside} {{\n\ttls {certificate[0]} {certificate[1]}")
        .replace("localhost:8501", f"localhost:{inside}")
    )  # fmt: skip
    (tmp_path / "Caddyfile").write_text(
        f"{{\n\tadmin off\n\tauto_https disable_redirects\n}}\n{own}", encoding="utf-8"
    )
    place = Place(inside, None, f"https://localhost:{outside}")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "caddy"))
    command = [caddy, "run", "--config", str(tmp_path / "Caddyfile"), "--adapter", "caddyfile"]
    with (
        (tmp_path / "caddy.log").open("w") as log,
        subprocess.Popen(command, stdout=log, stderr=log) as proxy,
    ):
        try:
            with served(home, place, asking(outside, certificate), monkeypatch, tmp_path / "log"):
                yield place
        finally:
            proxy.terminate()


def test_the_pages_speak_tls_and_an_invitation_opens_them_with_a_cookie_for_tls_alone(home, served_over_tls):
    ask, place = served_over_tls
    plain = http.client.HTTPConnection("localhost", place.port, timeout=5)
    plain.request("GET", "/_stcore/health")
    with pytest.raises((http.client.HTTPException, OSError)):
        plain.getresponse()
    plain.close()
    token = browsers.invite(home, "c1")
    form = {"Content-Type": "application/x-www-form-urlencoded", "Origin": place.public}
    answer = ask("POST", "/invitation", f"key={token}", form)
    assert answer.status == 303
    assert "secure" in answer.headers["set-cookie"].lower()
    printed = browsers.invite(home, None, browsers.START_GOOD, on_this_machine=True)
    assert ask("GET", f"/start?key={printed}").status == 403  # the pages are no longer this machine's own
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
               "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}  # fmt: skip
    assert ask("GET", "/_stcore/stream", headers=upgrade | {"Origin": place.public}).status == 101
    assert (
        ask("GET", "/_stcore/stream", headers=upgrade | {"Origin": "https://elsewhere.example.org"}).status
        == 403
    )


@pytest.mark.browser
def test_behind_caddy_by_the_recipe_an_invitation_opens_a_page_in_a_browser(
    home, served_behind_caddy, chromium
):
    public = served_behind_caddy.public
    context = chromium.new_context(ignore_https_errors=True)
    page = context.new_page()
    page.goto(f"{public}/invitation?key={browsers.invite(home, 'h1')}")
    page.get_by_role("button").first.click()
    page.locator('[data-testid="stMain"] h1').first.wait_for(timeout=LIMIT_MS)
    assert page.request.get(public).headers["strict-transport-security"] == "max-age=31536000"
    (ours,) = (cookie for cookie in context.cookies() if cookie["name"].startswith("underfoot"))
    assert ours["secure"]
    assert ours["httpOnly"]
    context.close()


def test_behind_a_declared_proxy_the_pages_stay_on_this_machine():
    place = Place(8501, None, "https://pages.example.org/")
    assert place.options() == {"server.port": 8501, "browser.serverAddress": "pages.example.org"}
    assert (place.public, place.here) == ("https://pages.example.org", "http://localhost:8501")


def test_an_address_without_tls_or_a_key_that_is_none_is_one_sentence(tmp_path, certificate):
    with pytest.raises(CallError, match="not an https address"):
        Place(free_port(), None, "http://pages.example.org").check()
    (tmp_path / "key.pem").write_text("no key")
    with pytest.raises(UnderfootError, match="not a certificate and its key"):
        Place(free_port(), (certificate[0], tmp_path / "key.pem")).check()


def test_the_command_invites_somebody_of_the_roster(home):
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    ran = underfoot_command("invite", "c1", "--home", home.path, "--address", "https://pages.example.org/")
    address, _, token = ran.stdout.strip().partition("?key=")
    assert address == "https://pages.example.org/invitation"
    assert browsers.read(home, token).person == "c1"
    assert underfoot_command("invite", "nobody", "--home", home.path).returncode == 2
