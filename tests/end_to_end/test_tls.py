"""Beyond this machine the pages are served over TLS alone: by themselves, or behind a declared proxy."""

import http.client
import ssl
import subprocess
import time
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

import builders
from browser import ROOT, free_port
from command import underfoot_command
from dashboard.serving import ADDRESS, Place, streamlit
from warehouse import browsers
from warehouse.errors import CallError, UnderfootError
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


@pytest.fixture
def served_over_tls(home, certificate, tmp_path, monkeypatch):
    """The pages over TLS; ask(method, path, body, headers) → answer."""
    with writer(home) as w:
        builders.fill(w)
        w.publish()
    port = free_port()
    place = Place(port, certificate, f"https://localhost:{port}")
    place.check()
    for name, value in {"UNDERFOOT_HOME": home.path, ADDRESS: place.public, "PYTHONPATH": ROOT}.items():
        monkeypatch.setenv(name, str(value))
    trusted = ssl.create_default_context(cafile=certificate[0])

    def ask(method, path, body=None, headers=None):
        asked = http.client.HTTPSConnection("localhost", port, context=trusted, timeout=20)
        asked.request(method, path, body, headers or {})
        answer = asked.getresponse()
        asked.close()
        return answer

    with (
        (tmp_path / "log").open("w") as log,
        subprocess.Popen(streamlit(place.options()), stdout=log, stderr=log, cwd=ROOT) as server,
    ):
        try:
            end = time.monotonic() + 60
            while time.monotonic() < end:
                try:
                    if ask("GET", "/_stcore/health").status == 200:
                        break
                except OSError:
                    time.sleep(0.1)
            yield ask, place
        finally:
            server.terminate()


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
