"""Every test opens its own workspace and leaves none open; one page can be opened as the menu would."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from fathomlight import open_workspace
from fathomlight_dashboard import WORKSPACE_VARIABLE


@pytest.fixture(autouse=True)
def _nothing_stays_open() -> Iterator[None]:
    """Forget what the pages remember, and close what they opened."""
    yield
    from fathomlight_dashboard import data

    data.forget_all()


def _one_page(path: str) -> None:
    """Run inside AppTest: one page, as the menu would open it."""
    from fathomlight_dashboard import data
    from fathomlight_dashboard.page import discover, show
    from fathomlight_dashboard.state import State

    pages = {p.path: p for p in discover()}
    show(pages[path], data.workspace(), State())


@pytest.fixture
def open_page() -> Callable[..., AppTest]:
    """Return what opens one page with choices in the address."""

    def opened(path: str, **params: str) -> AppTest:
        at = AppTest.from_function(_one_page, kwargs={"path": path}, default_timeout=120)
        for name, value in params.items():
            at.query_params[name] = value
        return at.run()

    return opened


@pytest.fixture
def said() -> Callable[[AppTest], str]:
    """Return what tells all words of a page, after asserting that nothing went wrong on it."""

    def words(at: AppTest) -> str:
        assert not at.exception
        assert not at.error, [e.value for e in at.error]
        kinds = ("title", "header", "subheader", "markdown", "caption", "info", "warning", "success")
        text = [e.value for kind in kinds for e in getattr(at, kind)]
        text += [e.proto.body for e in at.get("html")]
        return "\n".join(str(t) for t in text)

    return words


@pytest.fixture
def demo(demo_workspace: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The demo workspace, opened beside the page; nothing here may write."""
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(demo_workspace))
    with open_workspace(demo_workspace, read_only=True) as ws:
        yield ws


@pytest.fixture
def own(own_workspace: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A copy that may be written to."""
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(own_workspace))
    with open_workspace(own_workspace) as ws:
        yield ws


@pytest.fixture
def bare(root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A workspace with settings and no readings."""
    folder = tmp_path / "bare"
    shutil.copytree(root / "config", folder / "config")
    shutil.copytree(root / "data", folder / "data")
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(folder))
    return folder
