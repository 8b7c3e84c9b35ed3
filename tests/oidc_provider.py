"""A small identity provider that speaks OpenID Connect on this machine: code flow, signed ID tokens, sign-out.

It asks nobody for a password: whoever comes is who the test says (`claims`).
"""

import base64
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlparse

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "underfoot", "shared-secret"


class Provider(ThreadingHTTPServer):
    """`claims` is who signs in next; `spoil` changes the token that is handed out."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.issuer = f"http://localhost:{self.server_port}"
        self.key = RSAKey.generate_key(2048, parameters={"kid": "k", "use": "sig", "alg": "RS256"})
        self.claims: dict[str, Any] = {"sub": "1", "email": "coach@example.org", "email_verified": True}
        self.spoil: dict[str, Any] = {}
        self.codes: dict[str, str] = {}  # code → nonce

    def token(self, nonce: str) -> str:
        now = int(time.time())
        claims = {"iss": self.issuer, "aud": CLIENT, "iat": now, "exp": now + 300, "nonce": nonce}
        return str(jwt.encode({"alg": "RS256", "kid": "k"}, claims | self.claims | self.spoil, self.key))


class _Handler(BaseHTTPRequestHandler):
    server: Provider

    def log_message(self, *_: object) -> None:
        pass

    def do_GET(self) -> None:
        address = urlparse(self.path)
        asked = {name: values[0] for name, values in parse_qs(address.query).items()}
        issuer = self.server.issuer
        if address.path == "/.well-known/openid-configuration":
            self._answer({
                "issuer": issuer, "authorization_endpoint": f"{issuer}/authorize", "token_endpoint": f"{issuer}/token",
                "jwks_uri": f"{issuer}/jwks", "end_session_endpoint": f"{issuer}/logout",
                "response_types_supported": ["code"], "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
            })  # fmt: skip
        elif address.path == "/jwks":
            self._answer({"keys": [self.server.key.as_dict(private=False)]})
        elif address.path == "/authorize":
            code = secrets.token_hex(8)
            self.server.codes[code] = asked["nonce"]
            self._send_on(asked["redirect_uri"] + "?" + urlencode({"code": code, "state": asked["state"]}))
        elif address.path == "/logout":
            self._send_on(asked["post_logout_redirect_uri"])
        else:
            self.send_error(404)

    def do_POST(self) -> None:
        body = parse_qs(self.rfile.read(int(self.headers["Content-Length"])).decode())
        given = base64.b64decode((self.headers["Authorization"] or "Basic ").split()[1]).decode()
        nonce = self.server.codes.pop(body["code"][0], None)  # a code is good once
        if nonce is None or given != f"{CLIENT}:{SECRET}":
            self._answer({"error": "invalid_grant"}, 400)
            return
        self._answer({
            "access_token": secrets.token_hex(8), "token_type": "Bearer", "expires_in": 300, "id_token": self.server.token(nonce),
        })  # fmt: skip

    def _answer(self, what: dict[str, Any], status: int = 200) -> None:
        text = json.dumps(what).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def _send_on(self, address: str) -> None:
        self.send_response(302)
        self.send_header("Location", address)
        self.send_header("Content-Length", "0")
        self.end_headers()


@contextmanager
def provider() -> Iterator[Provider]:
    """The provider, until the end of the block."""
    with Provider() as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()
