"""A dashboard with login switched on, and an identity provider beside it."""

from __future__ import annotations

import importlib.util
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any
from urllib.parse import urlparse

import pytest

from fathomlight_dashboard import SERVER, STREAMLIT_FLAGS, WORKSPACE_VARIABLE

ROOT = Path(__file__).resolve().parents[2]
MANAGER, REVIEWER, VOLUNTEER = "manager@lakes.example", "reviewer@lakes.example", "volunteer@lakes.example"
LOGIN = f"""
[login]
enabled = true
public = "nobody"
unknown = "nobody"

[[login.person]]
email = "{MANAGER}"
role = "manager"

[[login.person]]
email = "{REVIEWER}"
role = "reviewer"

[[login.person]]
email = "{VOLUNTEER}"
role = "volunteer"
"""


def beside(name: str) -> ModuleType:
    """Load a module that lies beside this file."""
    full = f"login_tests_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None
        assert spec.loader is not None
        sys.modules[full] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[full])
    return sys.modules[full]


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def new_workspace(target: Path, login: str) -> Path:
    """Make a small workspace: the demo's configuration, two readings, a ``[login]`` table."""
    from fathomlight import open_workspace
    from fathomlight.ingest import Visit

    for name in ("config", "data"):
        shutil.copytree(ROOT / name, target / name)
    write_login(target, login)
    with open_workspace(target, actor="before@lakes.example") as ws:
        station = sorted(ws.stations)[0]
        for day, depth in (("2025-07-01", 3.0), ("2025-07-15", 2.5)):
            ws.add_visit(Visit(station=station, date=day, disc_down=depth, disc_unit="m"))
    return target


def write_login(workspace: Path, login: str) -> None:
    """Put a ``[login]`` table in place of the one there is."""
    path = workspace / "config" / "workspace.toml"
    before = path.read_text(encoding="utf-8").split("\n[login]\n")[0]
    path.write_text(before + login, encoding="utf-8")


@dataclass
class Dashboard:
    """A running dashboard with its provider."""

    url: str
    workspace: Path
    log: Path
    provider: Any
    process: Any = None

    def log_text(self) -> str:
        return self.log.read_text(encoding="utf-8")


def secrets_text(url: str, provider_url: str, cookie_secret: str = "c" * 40) -> str:
    known = beside("provider")
    return (
        f'[auth]\nredirect_uri = "{url}/oauth2callback"\ncookie_secret = "{cookie_secret}"\n'
        f'client_id = "{known.CLIENT}"\nclient_secret = "{known.SECRET}"\n'
        f'server_metadata_url = "{provider_url}/.well-known/openid-configuration"\n'
    )


def start(
    home: Path, workspace: Path, port: int, secrets: Path | None, **more: str
) -> tuple[subprocess.Popen[bytes], Path]:
    """Start one dashboard and wait until it is well."""
    log = home / f"server-{port}.log"
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(SERVER),
        *STREAMLIT_FLAGS,
        f"--server.port={port}",
    ]
    if secrets is not None:
        command.append(f"--secrets.files={secrets}")
    env = {
        **os.environ,
        WORKSPACE_VARIABLE: str(workspace),
        "HOME": str(home),
        "FATHOMLIGHT_LOG": "json",
        **more,
    }
    with log.open("w") as out, log.with_suffix(".out").open("w") as stdout:
        process = subprocess.Popen(command, cwd=home, env=env, stdout=stdout, stderr=out)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise RuntimeError(f"the dashboard ended at once:\n{log.read_text()}")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/health", timeout=20):
                return process, log
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    process.kill()
    raise RuntimeError(f"the dashboard did not answer within a minute:\n{log.read_text()}")


def end(process: subprocess.Popen[bytes]) -> float:
    """End it by its process id; return the seconds it took."""
    begin = time.monotonic()
    process.terminate()
    try:
        process.wait(timeout=25)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(timeout=10)
    return time.monotonic() - begin


@pytest.fixture(scope="session")
def guarded(tmp_path_factory: pytest.TempPathFactory, browser: object) -> Iterator[Dashboard]:
    """Start a provider and a dashboard with login; end both."""
    pytest.importorskip("authlib", reason="needs the login extra")
    pytest.importorskip("httpx", reason="needs the login extra")
    pytest.importorskip("joserfc", reason="needs joserfc (the test extra)")
    home = tmp_path_factory.mktemp("guarded")
    workspace = new_workspace(home / "workspace", LOGIN)
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    with beside("provider").Running() as provider:
        secrets = home / "secrets.toml"
        secrets.write_text(secrets_text(url, provider.url))
        process, log = start(home, workspace, port, secrets)
        try:
            yield Dashboard(url, workspace, log, provider, process)
        finally:
            end(process)
            if os.environ.get("FATHOMLIGHT_ARTIFACTS"):
                shutil.copy(log, Path(os.environ["FATHOMLIGHT_ARTIFACTS"]) / "login.log")


@dataclass
class Person:
    """Somebody with a browser of their own."""

    tab: Any
    context: Any
    site: Dashboard
    complaints: list[str] = field(default_factory=list)

    def open(self, path: str = "") -> Any:
        self.tab.goto(f"{self.site.url}/{path}")
        return self.settle()

    def settle(self) -> Any:
        self.tab.wait_for_selector("h1", timeout=60_000)
        self.tab.wait_for_function(
            "() => { const a = document.querySelector('[data-testid=stApp]');"
            " return a && a.getAttribute('data-test-script-state') === 'notRunning'"
            " && !document.querySelector('[data-testid=stSpinner], [data-testid=stSkeleton]'); }",
            timeout=60_000,
        )
        self.tab.wait_for_timeout(300)
        return self.tab

    def press(self, label: str) -> Any:
        self.tab.get_by_role("button", name=label, exact=True).first.click()
        self.tab.wait_for_timeout(400)
        return self.settle()

    def log_in(self, email: str, **more: Any) -> Any:
        """Go to the first page, press "Log in", come back from the provider."""
        self.site.provider.sets(email, **more)
        self.open()
        self.tab.get_by_role("button", name="Log in", exact=False).first.click()
        self.tab.wait_for_url("**/*", wait_until="load")
        self.tab.wait_for_timeout(1500)
        return self.settle()

    def text(self) -> str:
        return str(self.tab.inner_text("[data-testid=stApp]"))

    def menu(self) -> str:
        return str(self.tab.inner_text("[data-testid=stSidebar]"))


@pytest.fixture
def restarted(
    browser: Any, guarded: Dashboard, tmp_path: Path
) -> Iterator[tuple[Person, Callable[[], None]]]:
    """Return somebody at a dashboard of its own, and what puts another process in the place of its process."""
    workspace = new_workspace(tmp_path / "workspace", LOGIN)
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    secrets = tmp_path / "secrets.toml"
    secrets.write_text(secrets_text(url, guarded.provider.url))
    running, log = start(tmp_path, workspace, port, secrets)
    processes = [running]

    def restart() -> None:
        end(processes.pop())
        processes.append(start(tmp_path, workspace, port, secrets)[0])

    context = browser.new_context(viewport={"width": 1280, "height": 900})
    try:
        yield Person(context.new_page(), context, Dashboard(url, workspace, log, guarded.provider)), restart
    finally:
        context.close()
        end(processes.pop())


@pytest.fixture
def someone(browser: Any, guarded: Dashboard) -> Iterator[Callable[[], Person]]:
    """Return a maker of people; nobody may ask for anything outside the loopback or see an error."""
    made: list[Person] = []

    def make() -> Person:
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        person = Person(context.new_page(), context, guarded)

        def guard(route: Any) -> None:
            if urlparse(route.request.url).hostname == "127.0.0.1" or route.request.url.startswith(
                ("data:", "blob:")
            ):
                route.continue_()
            else:
                person.complaints.append(f"outside: {route.request.url}")
                route.abort()

        context.route("**/*", guard)
        person.tab.on("pageerror", lambda e: person.complaints.append(str(e)))
        person.tab.on(
            "console",
            lambda m: (
                person.complaints.append(f"{m.text} {m.location.get('url', '')}")
                if m.type == "error" and not ("404" in m.text and "/_stcore/" in m.location.get("url", ""))
                else None
            ),
        )
        made.append(person)
        return person

    write_login(guarded.workspace, LOGIN)
    yield make
    for person in made:
        person.context.close()
    assert [c for p in made for c in p.complaints] == []
