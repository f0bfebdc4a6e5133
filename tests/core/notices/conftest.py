"""A small workspace with episodes, and servers on the loopback that take messages."""

from __future__ import annotations

import email
import email.policy
import http.server
import json
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fathomlight import open_workspace

EPISODES: list[dict[str, Any]] = [
    {
        "key": "a", "rule": "murky", "kind": "limit", "station": "QUE-2", "parameter": "secchi", "state": "open",
        "severity": "act", "opened": "2025-09-11T17:15:00+00:00", "last": "2025-09-27T17:15:00+00:00",
        "message": "Quernholt upper arm: disc depth below 0.7 m.", "n_readings": 2,
    },
    {
        "key": "b", "rule": "murky", "kind": "limit", "station": "TAN-1", "parameter": "secchi", "state": "open",
        "severity": "note", "opened": "2025-08-01T17:15:00+00:00", "last": "2025-08-01T17:15:00+00:00",
        "message": "Tannerook middle basin: worth knowing.", "n_readings": 1,
    },
    {
        "key": "c", "rule": "murky", "kind": "limit", "station": "VEL-1", "parameter": "secchi", "state": "seen",
        "severity": "act", "opened": "2025-07-01T17:15:00+00:00", "last": "2025-07-01T17:15:00+00:00",
        "message": "Vellumere deep hole: seen already.", "n_readings": 1, "seen_by": "Observer Zed",
        "seen_at": "2025-07-02T08:00:00+00:00", "seen_note": "private remark",
    },
    {
        "key": "d", "rule": "murky", "kind": "limit", "station": "VEL-1", "parameter": "secchi", "state": "over",
        "severity": "act", "opened": "2025-05-01T17:15:00+00:00", "last": "2025-05-01T17:15:00+00:00",
        "over": "2025-05-09T17:15:00+00:00", "message": "Vellumere deep hole: long over.", "n_readings": 1,
    },
]  # fmt: skip

for _episode in EPISODES:
    _episode["began"] = _episode["opened"]


@pytest.fixture
def lakes(root: Path, tmp_path: Path) -> Path:
    """Return a workspace without readings whose store holds four episodes: two open, one seen, one over."""
    folder = tmp_path / "lakes"
    shutil.copytree(root / "config", folder / "config")
    with open_workspace(folder) as ws:
        ws.store.save_episodes(EPISODES)
    return folder


def write_targets(folder: Path, text: str) -> None:
    """Replace the notices file of a workspace."""
    (folder / "config" / "notices.toml").write_text(text, encoding="utf-8")


class Hook:
    """A webhook on the loopback; ``answers`` are the status codes of the next requests, then 200."""

    def __init__(self) -> None:
        self.taken: list[dict[str, Any]] = []
        self.refused: list[dict[str, Any]] = []
        self.headers: list[dict[str, str]] = []
        self.answers: list[int] = []
        hook = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                status = hook.answers.pop(0) if hook.answers else 200
                (hook.taken if status == 200 else hook.refused).append(body)
                hook.headers.append(dict(self.headers))
                self.send_response(status)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self.server.server_port
        self._thread = threading.Thread(target=self.server.serve_forever, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self._thread.join()


@pytest.fixture
def hook() -> Iterator[Hook]:
    pytest.importorskip("apprise")
    served = Hook()
    yield served
    served.close()


class Post:
    """An SMTP server's memory; ``refuse`` is how many messages are turned away first."""

    def __init__(self) -> None:
        self.taken: list[Any] = []
        self.refuse = 0
        self.tries = 0
        self.port = 0
        self.logins: list[tuple[bytes, bytes]] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        self.tries += 1
        if self.tries <= self.refuse:
            return "451 4.3.0 try again later"
        self.taken.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        return "250 taken"


@pytest.fixture
def post() -> Iterator[Post]:
    pytest.importorskip("apprise")
    aiosmtpd_controller = pytest.importorskip("aiosmtpd.controller")
    from aiosmtpd.smtp import AuthResult

    memory = Post()

    def let_in(_server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any) -> Any:
        memory.logins.append((data.login, data.password))
        return AuthResult(success=data.password == b"correct horse/1")

    controller = aiosmtpd_controller.Controller(
        memory, hostname="127.0.0.1", port=_free_port(), authenticator=let_in, auth_require_tls=False
    )
    controller.start()
    memory.port = controller.port
    yield memory
    controller.stop()


def _free_port() -> int:
    import socket

    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port
