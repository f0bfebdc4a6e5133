"""The real dashboard in a real browser: nothing outside the loopback, nothing on the console."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlparse

import pytest

from fathomlight_dashboard import SERVER, STREAMLIT_FLAGS, WORKSPACE_VARIABLE
from fathomlight_dashboard.page import discover

playwright_api = pytest.importorskip("playwright.sync_api", reason="needs playwright (the test extra)")

CHROMIUM = (
    os.environ.get("FATHOMLIGHT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
)
DESK = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


@dataclass
class Server:
    """A running dashboard."""

    url: str
    workspace: Path
    log: Path


@pytest.fixture(scope="session")
def dashboard(demo_workspace: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Start the dashboard on a copy of the demo workspace; end it by its process id."""
    if CHROMIUM is None:
        pytest.skip("no chromium found: set FATHOMLIGHT_CHROMIUM or install Debian's package chromium")
    home = tmp_path_factory.mktemp("dashboard")
    workspace = home / "workspace"
    shutil.copytree(demo_workspace, workspace)
    port = _free_port()
    log = home / "server.log"
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(SERVER),
        *STREAMLIT_FLAGS,
        f"--server.port={port}",
    ]
    with log.open("w") as out:
        process = subprocess.Popen(
            command,
            cwd=home,
            env={**os.environ, WORKSPACE_VARIABLE: str(workspace), "HOME": str(home)},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    url = f"http://127.0.0.1:{port}"
    try:
        _wait(url, process, log)
        yield Server(url, workspace, log)
    finally:
        process.terminate()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=10)
        if os.environ.get("FATHOMLIGHT_ARTIFACTS"):
            shutil.copy(log, Path(os.environ["FATHOMLIGHT_ARTIFACTS"]) / "dashboard.log")


def _wait(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise RuntimeError(f"the dashboard ended at once:\n{log.read_text()}")
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise RuntimeError(f"the dashboard did not answer within a minute:\n{log.read_text()}")


@dataclass
class Watched:
    """A tab that remembers everything that must not happen."""

    tab: object
    server: Server
    complaints: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)

    def open(self, path: str = "", **params: str) -> object:
        """Open a page and wait until it is drawn."""
        query = "&".join(f"{k}={v}" for k, v in params.items())
        self.tab.goto(f"{self.server.url}/{path}" + (f"?{query}" if query else ""))  # type: ignore[attr-defined]
        self.settle()
        return self.tab

    def settle(self) -> None:
        """Wait until the page has been drawn and is not running any more."""
        tab = self.tab
        tab.wait_for_selector("h1", timeout=60_000)  # type: ignore[attr-defined]
        tab.wait_for_function(  # type: ignore[attr-defined]
            "() => { const a = document.querySelector('[data-testid=stApp]');"
            " return a && a.getAttribute('data-test-script-state') !== 'running'"
            " && !document.querySelector('[data-testid=stSpinner], [data-testid=stSkeleton]')"
            " && !document.querySelector('[data-stale=true]'); }",
            timeout=90_000,
        )
        tab.wait_for_timeout(400)  # type: ignore[attr-defined]

    def shoot(self, name: str) -> Path:
        """Keep a screenshot of the whole page."""
        folder = Path(os.environ.get("FATHOMLIGHT_ARTIFACTS") or self.server.workspace.parent / "artifacts")
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{name}.png"
        height = self.tab.evaluate(  # type: ignore[attr-defined]
            "() => { const m = document.querySelector('[data-testid=stMain]');"
            " return Math.max(m ? m.scrollHeight : 0, 600); }"
        )
        size = self.tab.viewport_size  # type: ignore[attr-defined]
        self.tab.set_viewport_size({"width": size["width"], "height": min(int(height) + 20, 6000)})  # type: ignore[attr-defined]
        self.tab.wait_for_timeout(500)  # type: ignore[attr-defined]
        self.tab.screenshot(path=str(path))  # type: ignore[attr-defined]
        self.tab.set_viewport_size(size)  # type: ignore[attr-defined]
        return path

    def hear(self, kind: str, text: str, url: str) -> None:
        """Remember errors on the console.

        One is expected: opened below an address such as ``/station``, Streamlit's page first asks for its server
        below that address, is told 404, and then asks at the top.
        """
        asked_below = re.search(r"^http://127\.0\.0\.1:\d+/[a-z]+/_stcore/(health|host-config)$", url)
        if kind == "error" and not ("404" in text and asked_below):
            self.complaints.append(f"{text} ({url})")

    def drawn(self, path: str) -> None:
        """Say whether a page is there, labelled, and without trouble."""
        title = next(p.title for p in discover() if p.path == path)
        text = self.tab.inner_text("[data-testid=stMain]")  # type: ignore[attr-defined]
        assert self.tab.locator("h1").first.inner_text() == title  # type: ignore[attr-defined]
        assert self.tab.locator("[data-testid=stException]").count() == 0  # type: ignore[attr-defined]
        assert "Invented data" in text
        assert "could not be drawn" not in text

    def blame(self) -> None:
        """Fail when anything happened that must not."""
        assert not self.outside, f"requested outside the loopback: {self.outside}"
        assert not self.complaints, f"on the console: {self.complaints}"


def _watched(browser: object, server: Server, size: dict[str, int], **more: object) -> Iterator[Watched]:
    context = browser.new_context(viewport=size, accept_downloads=True, **more)  # type: ignore[attr-defined]
    tab = context.new_page()
    watched = Watched(tab, server)

    def guard(route: object) -> None:
        url = route.request.url  # type: ignore[attr-defined]
        if urlparse(url).hostname in {"127.0.0.1", "localhost"} or url.startswith(("data:", "blob:")):
            route.continue_()  # type: ignore[attr-defined]
        else:
            watched.outside.append(url)
            route.abort()  # type: ignore[attr-defined]

    context.route("**/*", guard)
    tab.on("console", lambda m: watched.hear(m.type, m.text, m.location.get("url", "")))
    tab.on("pageerror", lambda e: watched.complaints.append(str(e)))
    tab.on(
        "requestfailed",
        lambda r: watched.complaints.append(f"failed: {r.url}") if "127.0.0.1" not in r.url else None,
    )
    yield watched
    context.close()
    watched.blame()


@pytest.fixture
def desk(browser: object, dashboard: Server) -> Iterator[Watched]:
    """Return a tab as wide as a desk has it."""
    yield from _watched(browser, dashboard, DESK)


@pytest.fixture
def phone(browser: object, dashboard: Server) -> Iterator[Watched]:
    """Return a tab as wide as a phone has it."""
    yield from _watched(browser, dashboard, PHONE, has_touch=True, is_mobile=True)
