"""Answers kept between runs: the only file with caches.

Everything is keyed by the folder of the workspace, its data version, the day taken as today and the
arguments; never by a table (it would be hashed by a sample of it). A load in another process changes the data
version, and so is seen at the next interaction.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.figures import Picture
from fathomlight_dashboard import WORKSPACE_VARIABLE

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

log = logging.getLogger("fathomlight.dashboard")

MANY = 400
"""Answers kept at most."""

KEPT_BY_WORKSPACE = frozenset({"counts", "parameters_at", "season_cells", "series"})
"""Answers the workspace remembers itself, by its own limit of memory: keeping them here too would hold them longer."""

OF_PEOPLE = frozenset({"batches", "episodes", "history", "refused", "status"})
"""Answers that depend on who asks: they tell of people, and not everybody may see that."""


def folder() -> Path:
    """Return the folder of the workspace: the environment variable, or the current folder."""
    return Path(os.environ.get(WORKSPACE_VARIABLE) or ".").resolve()


def _fingerprint(root: Path) -> tuple[tuple[str, int], ...]:
    """Change when a file of the configuration changes, so that the workspace is opened anew."""
    found: list[tuple[str, int]] = []
    folders = [str(root / "config")]
    while folders:
        try:
            with os.scandir(folders.pop()) as entries:
                for entry in entries:
                    if entry.is_dir():
                        folders.append(entry.path)
                    else:
                        found.append((entry.path, entry.stat().st_mtime_ns))
        except FileNotFoundError:  # no workspace here yet, or a file renamed this moment
            continue
    return tuple(sorted(found))


def _close(ws: Any) -> None:
    ws.close()


@st.cache_resource(max_entries=8, show_spinner="Opening the workspace …", on_release=_close)
def _open(root: str, fingerprint: tuple[tuple[str, int], ...]) -> Workspace:
    from fathomlight import open_workspace

    return open_workspace(root)


def workspace() -> Workspace:
    """Return the open workspace of this installation, opened once for all readers."""
    root = folder()
    return _open(str(root), _fingerprint(root))


@st.cache_resource(max_entries=MANY, show_spinner="Computing …")
def _answer(
    key: tuple[Hashable, ...],
    name: str,
    args: tuple[Hashable, ...],
    more: tuple[tuple[str, Hashable], ...],
    _ws: Any,
) -> Any:
    return getattr(_ws, name)(*args, **dict(more))


@st.cache_resource(max_entries=MANY, show_spinner="Drawing …")
def _picture(key: tuple[Hashable, ...], name: str, args: tuple[Hashable, ...], _make: Any) -> Any:
    return _make()


def forget_all() -> None:
    """Forget every answer and close every workspace; the next question opens it anew."""
    for cached in (_answer, _picture, _made, _template, _open):
        cached.clear()


def version(ws: Workspace) -> tuple[Hashable, ...]:
    """Return what every cached answer depends on."""
    return (str(ws.root), ws.data_version, ws.as_of.isoformat(), id(ws.store))


def ask(ws: Workspace, name: str, *args: Hashable, **more: Hashable) -> Any:
    """Ask the workspace a question, and remember the answer until the data change.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    name : str
        Method of the workspace.
    *args, **more
        Its arguments; hashable, never a table.

    Returns
    -------
    object
        The answer, shared between readers: it must not be changed.
    """
    if name in KEPT_BY_WORKSPACE:
        return getattr(ws, name)(*args, **more)
    key = version(ws)
    if name in OF_PEOPLE:
        key = (*key, ws.actor, ws.rights.role)
    return _answer(key, name, args, tuple(sorted(more.items())), ws)


@st.cache_resource(max_entries=60, show_spinner="Writing the report …")
def _made(key: tuple[Hashable, ...], name: str, args: tuple[Hashable, ...], _ws: Any, _how: Any) -> Any:
    return _how(_ws, *args)


def warm() -> None:
    """Compute what the first page asks for, so that the first reader waits less; trouble is left to the page."""
    from fathomlight_dashboard.page import discover

    quiet = logging.getLogger("streamlit.runtime.scriptrunner_utils.script_run_context")
    before = quiet.level
    quiet.setLevel(logging.ERROR)  # it warns that nobody watches this work: nobody shall
    try:
        discover()
        ws = workspace()
        if not ws.counts().empty:
            ask(ws, "standings", "secchi" if "secchi" in ws.parameters else next(iter(ws.parameters)))
    except Exception:  # the page says it with care
        log.info("the first page could not be prepared", exc_info=True)
    finally:
        quiet.setLevel(before)


def make(ws: Workspace, name: str, *args: Hashable, how: Callable[..., Any]) -> Any:
    """Make something larger (a report, its PDF), and remember it until the data change.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    name : str
        What is made.
    *args
        Everything it depends on besides the data.
    how : callable
        Makes it: ``how(ws, *args)``.

    Returns
    -------
    object
        Shared between readers: it must not be changed.
    """
    return _made(version(ws), name, args, ws, how)


@st.cache_resource(max_entries=MANY, show_spinner=False)
def _template(key: tuple[Hashable, ...], name: str, _ws: Any, _make: Any) -> Any:
    return _make(_ws, name)


def template(ws: Workspace, name: str, make: Callable[[Workspace, str], bytes]) -> bytes:
    """Return an empty sheet for download, made once for each configuration."""
    content: bytes = _template((str(ws.root), id(ws.store)), name, ws, make)
    return content


def draw(ws: Workspace, name: str, *args: Hashable, make: Callable[[], Picture]) -> Picture:
    """Draw a picture, and remember it until the data change.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    name : str
        Name of the picture.
    *args
        Everything the picture depends on besides the data: station, parameter, units, look ...
    make : callable
        Makes the picture.

    Returns
    -------
    Picture
        Shared between readers: it must not be changed.
    """
    picture: Picture = _picture(version(ws), name, args, make)
    return picture


def derive(ws: Workspace, name: str, *args: Hashable, make: Callable[[], Any]) -> Any:
    """Compute something small from long series for a page, and remember it until the data change.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    name : str
        What it is.
    *args
        Everything it depends on besides the data.
    make : callable
        Makes it.

    Returns
    -------
    object
        Shared between readers: it must not be changed.
    """
    return _picture(version(ws), name, args, make)
