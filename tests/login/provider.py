"""An identity provider on the loopback, as honest or as false as a test wants it (OpenID Connect Core 1.0).

It answers discovery, authorisation, token, keys and logout; whoever is sent to it is logged in at once as
``Provider.person``. ``Provider.fault`` makes its next tokens wrong in one way.
"""

from __future__ import annotations

import json
import secrets
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlparse

from joserfc import jwt
from joserfc.jwk import KeySet, OctKey, RSAKey

CLIENT, SECRET = "fathomlight-test", "only-for-tests-" + secrets.token_hex(8)


@dataclass
class Provider:
    """What the provider knows and how it behaves."""

    url: str = ""
    person: dict[str, Any] = field(default_factory=dict)
    lifetime: float = 3600.0
    fault: str = ""
    key: Any = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one"}))
    other: Any = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one"}))
    codes: dict[str, dict[str, Any]] = field(default_factory=dict)
    tokens_given: int = 0
    last_end: float = 0.0
    logouts: int = 0

    def sets(self, email: str, **more: Any) -> None:
        """Say who the next person is; keyword ``fault`` and ``lifetime`` say how their token is."""
        self.fault = more.pop("fault", "")
        self.lifetime = more.pop("lifetime", 3600.0)
        self.person = {"sub": f"id-{email}", "email": email, "email_verified": True, **more}

    def identity_token(self, nonce: str | None) -> str:
        """Return a signed token; wrong in the one way that ``fault`` names."""
        now = int(time.time())
        claims = {
            "iss": self.url,
            "aud": CLIENT,
            "iat": now,
            "exp": int(now + self.lifetime),
            "nonce": nonce,
            **self.person,
        }
        claims.update(
            {
                "issuer": {"iss": "http://127.0.0.1:9/other"},
                "audience": {"aud": "another-client"},
                "expired": {"iat": now - 7200, "exp": now - 3600},
                "nonce": {"nonce": "another"},
            }.get(self.fault, {})
        )
        self.last_end = float(claims["exp"])
        if self.fault == "unsigned":
            return _unsigned(claims)
        if self.fault == "shared secret":  # the public key misused as a secret both sides know
            secret = OctKey.import_key(self.key.as_pem(private=False))
            return jwt.encode({"alg": "HS256", "kid": "one"}, claims, secret)
        key = self.other if self.fault == "signature" else self.key
        return jwt.encode({"alg": "RS256", "kid": "one"}, claims, key)


def _unsigned(claims: dict[str, Any]) -> str:
    import base64

    def part(value: dict[str, Any]) -> str:
        return base64.urlsafe_b64encode(json.dumps(value).encode()).rstrip(b"=").decode()

    return f"{part({'alg': 'none'})}.{part(claims)}."


def _handler(provider: Provider) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            """Keep quiet."""

        def give(self, body: Any, status: int = 200) -> None:
            data = json.dumps(body).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        def send_on(self, url: str) -> None:
            self.send_response(302)
            self.send_header("Location", url)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def do_GET(self) -> None:
            parts = urlparse(self.path)
            asked = {k: v[0] for k, v in parse_qs(parts.query).items()}
            if parts.path == "/.well-known/openid-configuration":
                self.give(_discovery(provider.url))
            elif parts.path == "/keys":
                self.give(KeySet([provider.key]).as_dict(private=False))
            elif parts.path == "/authorize":
                assert asked["client_id"] == CLIENT
                assert "openid" in asked["scope"].split()
                code = secrets.token_urlsafe(16)
                provider.codes[code] = asked
                self.send_on(f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}")
            elif parts.path == "/logout":
                provider.logouts += 1
                self.send_on(asked["post_logout_redirect_uri"])
            else:
                self.give({"error": "not_found"}, 404)

        def do_POST(self) -> None:
            import base64

            sent = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {k: v[0] for k, v in parse_qs(sent).items()}
            given = self.headers.get("Authorization", "").removeprefix("Basic ")
            known = base64.b64decode(given).decode() == f"{CLIENT}:{SECRET}" if given else False
            asked = provider.codes.pop(form.get("code", ""), None)
            if urlparse(self.path).path != "/token" or not known or asked is None:
                self.give({"error": "invalid_grant"}, 400)
                return
            provider.tokens_given += 1
            token = provider.identity_token(asked.get("nonce"))
            self.give({"access_token": "opaque", "token_type": "Bearer", "id_token": token})

    return Handler


def _discovery(url: str) -> dict[str, Any]:
    return {
        "issuer": url,
        "authorization_endpoint": f"{url}/authorize",
        "token_endpoint": f"{url}/token",
        "jwks_uri": f"{url}/keys",
        "end_session_endpoint": f"{url}/logout",
        "response_types_supported": ["code"],
        "subject_types_supported": ["public"],
        "id_token_signing_alg_values_supported": ["RS256"],
        "token_endpoint_auth_methods_supported": ["client_secret_basic"],
    }


class Running:
    """The provider, started on a free port of the loopback; a context manager."""

    def __enter__(self) -> Provider:
        self.provider = Provider()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self.provider))
        self.provider.url = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()
        return self.provider

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(timeout=5)
