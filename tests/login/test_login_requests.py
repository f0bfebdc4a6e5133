"""The same server without a browser: false tokens, and requests that come from other sites.

What a token must hold follows OpenID Connect Core 1.0, section 3.1.3.7; that an unsigned token and a public key
taken as a shared secret are refused, RFC 8725, sections 2.1 and 3.1.
"""

from __future__ import annotations

import base64
import http.client
import http.cookiejar
import os
import re
import time
import urllib.request
from typing import Any
from urllib.parse import urlparse

import pytest

pytestmark = pytest.mark.browser


def ask(site: Any, path: str, method: str = "GET", body: bytes | None = None, **headers: str) -> Any:
    """Send one request; headers are written with underscores."""
    connection = http.client.HTTPConnection("127.0.0.1", urlparse(site.url).port, timeout=15)
    try:
        connection.request(method, path, body, {k.replace("_", "-"): v for k, v in headers.items()})
        answer = connection.getresponse()
        if answer.status != 101:
            answer.read()
        return answer
    finally:
        connection.close()


def walk_through_login(site: Any) -> tuple[dict[str, str], str]:
    """Follow the whole login as a browser does; return the cookies left, and where it ended."""
    from joserfc import jwt
    from joserfc.jwk import OctKey

    jar = http.cookiejar.CookieJar()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    ticket = jwt.encode(
        {"alg": "HS256"}, {"provider": "default", "exp": int(time.time()) + 60}, OctKey.import_key("c" * 40)
    )
    with opener.open(f"{site.url}/auth/login?provider={ticket}", timeout=30) as answer:
        return {c.name: str(c.value) for c in jar}, answer.url


def test_a_true_token_is_taken(guarded: Any) -> None:
    guarded.provider.sets("volunteer@lakes.example")
    cookies, where = walk_through_login(guarded)
    assert cookies["_streamlit_user"]
    assert where.rstrip("/") == guarded.url


@pytest.mark.parametrize(
    "fault", ["signature", "issuer", "audience", "expired", "nonce", "unsigned", "shared secret"]
)
def test_a_false_token_is_refused(guarded: Any, fault: str) -> None:
    guarded.provider.sets("manager@lakes.example", fault=fault)
    given = guarded.provider.tokens_given
    cookies, where = walk_through_login(guarded)
    assert guarded.provider.tokens_given == given + 1
    assert "_streamlit_user" not in cookies
    assert where.rstrip("/") == guarded.url


def handshake(site: Any, origin: str, cookies: dict[str, str]) -> Any:
    return ask(
        site,
        "/_stcore/stream",
        Origin=origin,
        Cookie="; ".join(f"{k}={v}" for k, v in cookies.items()),
        Connection="Upgrade",
        Upgrade="websocket",
        Sec_WebSocket_Version="13",
        Sec_WebSocket_Key=base64.b64encode(os.urandom(16)).decode(),
        Sec_WebSocket_Protocol="streamlit",
    )


def test_a_page_of_another_site_cannot_talk_to_ours(guarded: Any) -> None:
    guarded.provider.sets("manager@lakes.example")
    cookies, _ = walk_through_login(guarded)
    assert handshake(guarded, guarded.url, cookies).status == 101
    for origin in ("http://elsewhere.example", "https://127.0.0.1.elsewhere.example", "null"):
        assert handshake(guarded, origin, cookies).status == 403
    answer = ask(guarded, "/_stcore/health", Origin="http://elsewhere.example")
    assert answer.getheader("Access-Control-Allow-Origin") is None


def test_an_upload_wants_the_token_only_our_page_can_read(guarded: Any) -> None:
    guarded.provider.sets("manager@lakes.example")
    cookies, _ = walk_through_login(guarded)
    seen = ask(guarded, "/_stcore/health").getheader("Set-Cookie")
    token = re.match(r"_streamlit_xsrf=([^;]+)", seen).group(1)  # type: ignore[union-attr]
    place = "/_stcore/upload_file/no-such-session/file"
    cookie = "; ".join(f"{k}={v}" for k, v in {**cookies, "_streamlit_xsrf": token}.items())
    boundary = {"Content_Type": "multipart/form-data; boundary=b"}
    body = b'--b\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\nx\r\n--b--\r\n'
    assert ask(guarded, place, "PUT", body, Cookie=cookie, **boundary).status == 403
    assert ask(guarded, place, "PUT", body, Cookie=cookie, X_Xsrftoken="guess", **boundary).status == 403
    # with the token the request gets past that door, and finds that there is no such session
    assert ask(guarded, place, "PUT", body, Cookie=cookie, X_Xsrftoken=token, **boundary).status == 400


@pytest.mark.parametrize("path", ["/oauth2callback?code=x&state=y", "/auth/login?provider=forged"])
def test_nobody_can_be_logged_in_by_a_link(guarded: Any, path: str) -> None:
    answer = ask(guarded, path)
    assert answer.status in {302, 307}
    assert answer.getheader("Location") == "/"
    assert not re.search(r"_streamlit_user=[^;\"]{3,}", str(answer.headers.get_all("Set-Cookie")))


def test_the_health_check_tells_nothing_but_health(guarded: Any) -> None:
    with urllib.request.urlopen(f"{guarded.url}/health", timeout=15) as answer:
        assert answer.status == 200
        assert re.fullmatch(rb'\{"status":"ok","data_version":\d+\}', answer.read())
        assert answer.headers["Cache-Control"] == "no-store"
