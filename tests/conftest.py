"""Fixtures every test may use, and the rule that nothing is skipped where everything is installed."""

from __future__ import annotations

import os
import shutil
import sys
import types
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parents[1]
NEVER_SKIPPED = {"browser", "database", "reference"}

settings.register_profile(
    "default", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
settings.load_profile("default")

_skipped: list[str] = []


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave the tests that take minutes to machines that ask for them."""
    if os.environ.get("FATHOMLIGHT_SLOW"):
        return
    skip = pytest.mark.skip(reason="takes minutes; set FATHOMLIGHT_SLOW=1 to run it")
    for item in items:
        if "slow" in {m.name for m in item.iter_markers()}:
            item.add_marker(skip)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Remember which browser, database and reference tests were skipped."""
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    if (
        report.skipped
        and not hasattr(report, "wasxfail")
        and NEVER_SKIPPED & {m.name for m in item.iter_markers()}
    ):
        report.user_properties.append(("must_run", str(report.longrepr)))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Collect them in the process that prints the summary."""
    _skipped.extend(f"{report.nodeid}: {text}" for name, text in report.user_properties if name == "must_run")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the whole run when FATHOMLIGHT_NO_SKIPS is set and one of them was skipped."""
    if os.environ.get("FATHOMLIGHT_NO_SKIPS") and _skipped and not hasattr(session.config, "workerinput"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say so where a person reads it."""
    if os.environ.get("FATHOMLIGHT_NO_SKIPS") and _skipped:
        terminalreporter.section("these tests may not be skipped here")
        for line in _skipped:
            terminalreporter.write_line(line)


@pytest.fixture
def plain_main(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give processes that are started afresh nothing to run again.

    A process made by "spawn" runs the file of ``__main__`` once more, and test runners and page tests put all
    sorts of things there.
    """
    monkeypatch.setitem(sys.modules, "__main__", types.ModuleType("__main__"))


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the top of the source tree."""
    return ROOT


def copy_workspace(source: Path, target: Path) -> Path:
    """Copy a workspace (config, data and, when there is one, the store) into ``target``."""
    for name in ("config", "data", "store"):
        if (source / name).is_dir():
            shutil.copytree(source / name, target / name)
    return target


@pytest.fixture(scope="session")
def demo_workspace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a demo workspace with everything loaded. Read only: copy it with ``own_workspace`` to write."""
    from fathomlight.workspace import load_demo

    target = tmp_path_factory.mktemp("demo")
    copy_workspace(ROOT, target)
    shutil.rmtree(target / "store", ignore_errors=True)
    load_demo(target)
    return target


CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """Start Debian's chromium once for all tests: two of the engine's loops do not fit into one program."""
    api = pytest.importorskip("playwright.sync_api", reason="needs playwright (the test extra)")
    names = (
        os.environ.get("FATHOMLIGHT_CHROMIUM"),
        shutil.which("chromium"),
        shutil.which("chromium-browser"),
    )
    program = next((n for n in names if n), None)
    if program is None:
        pytest.skip("no chromium found: set FATHOMLIGHT_CHROMIUM or install Debian's package chromium")
    with api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=program, args=CHROMIUM_ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def own_workspace(demo_workspace: Path, tmp_path: Path) -> Path:
    """Return a copy of the loaded demo workspace that a test may change."""
    return copy_workspace(demo_workspace, tmp_path / "workspace")
