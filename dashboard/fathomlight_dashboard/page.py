"""The page contract: a page is one file in ``views/`` with a ``PAGE``; nothing else has to know of it.

::

    views/example.py
        PAGE = Page(title="Example", path="example", order=45, question="What ...?", render=render)

        def render(ws: Workspace, state: State) -> None: ...

Pages are found, ordered, given an address and a line in the menu by :func:`discover`. :func:`show` draws one
inside a boundary: an error that a page did not expect never reaches the reader as a traceback.
"""

from __future__ import annotations

import importlib
import logging
import pkgutil
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.workspace.rights import ROLES, Role
from fathomlight_dashboard import widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

log = logging.getLogger("fathomlight.dashboard")


@dataclass(frozen=True, kw_only=True)
class Page:
    """One page.

    Attributes
    ----------
    title : str
        Name in the menu and at the top.
    path : str
        Last part of its address.
    order : int
        Place in the menu, low first; the lowest is the first page.
    question : str
        The question the page answers, shown as help in the menu.
    render : callable
        Draws the page: ``render(workspace, state)``.
    least : Role
        Least role that may open it.
    carries : tuple of str
        Query parameters that follow the reader to this page.
    available : callable, optional
        Given the workspace, says whether the page can do anything there; a page that cannot is left out.
    """

    title: str
    path: str
    order: int
    question: str
    render: Callable[[Workspace, State], None]
    least: Role = "reader"
    carries: tuple[str, ...] = ("units",)
    available: Callable[[Workspace], bool] | None = None

    def needs(self, role: Role) -> bool:
        """Return whether `role` has the rights this page needs."""
        return ROLES.index(role) >= ROLES.index(self.least)


def discover(package: str = "fathomlight_dashboard.views") -> list[Page]:
    """Find every page of a package, in menu order.

    Parameters
    ----------
    package : str
        Package whose modules may hold a ``PAGE``.

    Returns
    -------
    list of Page
        Ordered by ``order``, then title.

    Raises
    ------
    FathomlightError
        Two pages claim one address.
    """
    views = importlib.import_module(package)
    pages: dict[str, Page] = {}
    for found in pkgutil.iter_modules(views.__path__):
        page = getattr(importlib.import_module(f"{package}.{found.name}"), "PAGE", None)
        if page is None:
            continue
        if page.path in pages:
            raise FathomlightError(
                "two pages claim one address", where=f"views/{found.name}.py", got=page.path
            )
        pages[page.path] = page
    return sorted(pages.values(), key=lambda p: (p.order, p.title))


def show(page: Page, ws: Workspace, state: State) -> None:
    """Draw a page; what goes wrong in it is said with what, where and how to fix it.

    Parameters
    ----------
    page : Page
        The page.
    ws : Workspace
        The open workspace.
    state : State
        What the reader chose.
    """
    st.title(page.title, anchor=False)
    widgets.invented_label(ws)
    if page.least != "reader" and not page.needs(ws.rights.role):
        st.info(
            f"This page takes the role {page.least} or more, and here you are {ws.rights.role}. Ask a manager of this "
            "workspace, or log in if you have not.",
            icon=":material/lock:",
        )
        return
    try:
        page.render(ws, state)
    except FathomlightError as error:
        widgets.error_box(error)
    except Exception:
        ticket = secrets.token_hex(3)
        log.exception("page %s failed, reference %s", page.path, ticket)
        widgets.trouble(
            "This page could not be drawn.",
            "Nothing was changed. Load the page again; if it happens again, send the reference "
            f"**{ticket}** to whoever looks after this installation: the server log tells more.",
        )
    state.flush()
