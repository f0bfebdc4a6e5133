"""Opens the workspace, builds the menu, shows the page asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight_dashboard import data, login, widgets
from fathomlight_dashboard.icon import ICON
from fathomlight_dashboard.page import Page, discover, show
from fathomlight_dashboard.state import State

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace


def main() -> None:
    """Draw the dashboard; ``streamlit run`` calls it at every interaction."""
    st.set_page_config(page_title="Fathomlight", page_icon=ICON, layout="centered", menu_items={})
    widgets.style()
    try:
        ws = data.workspace()
    except FathomlightError as error:
        if (data.folder() / "config" / "workspace.toml").is_file():
            _not_opened(error)
        else:
            _first_run(error)
        return
    admitted = login.admit(ws)
    if admitted is None:
        return
    ws = admitted
    state = State()
    every = [p for p in discover() if p.available is None or p.available(ws)]
    pages = [p for p in every if p.needs(ws.rights.role)]  # a link to one of the others says what it takes
    entries = {p.path: _entry(p, ws, state) for p in every}
    first = _entry(pages[0], ws, state, first=True)
    chosen = st.navigation([first, *entries.values()], position="hidden")
    # In the menu the first page is the bare address; its own address stays good for links.
    linked = {p.path: entries[p.path] for p in pages} | {pages[0].path: first}
    state.add_pages(linked)
    _menu(pages, linked, ws, state)
    chosen.run()
    _foot(pages, linked, state)


def _foot(pages: list[Page], entries: dict[str, st.Page], state: State) -> None:
    """Repeat the menu under the page: on a phone the other one is folded away."""
    st.divider()
    with st.container(horizontal=True, gap="small"):
        for page in pages:
            st.page_link(
                entries[page.path], label=page.title, query_params=state.carry(page.carries), width="content"
            )


def _entry(page: Page, ws: Workspace, state: State, *, first: bool = False) -> st.Page:
    def run() -> None:
        show(page, ws, state)

    path = None if first else page.path
    return st.Page(run, title=page.title, url_path=path, default=first, help=page.question)


def _menu(pages: list[Page], entries: dict[str, st.Page], ws: Workspace, state: State) -> None:
    with st.sidebar:
        st.markdown("### Fathomlight")
        st.caption(ws.name)
        for page in pages:
            st.page_link(
                entries[page.path],
                label=page.title,
                help=page.question,
                query_params=state.carry(page.carries),
            )
        state.choose(
            "units",
            "Units",
            ["metric", "us"],
            default=ws.units,
            words={"metric": "m, °C", "us": "ft, °F"}.__getitem__,
            widget="segments",
        )
        st.caption(f"Today is taken as {widgets.today_text(ws.as_of)}.")
        login.show(ws)


def _not_opened(error: FathomlightError) -> None:
    """Say what is in the way of a workspace that is there."""
    st.title("The workspace cannot be opened", anchor=False)
    widgets.error_box(error)
    st.markdown(
        f"The folder is `{data.folder()}`. Nothing is lost: readings stay in the store as they are. Once this is "
        "mended on the server, load this page again. Earlier versions of files that were changed on the page "
        "Settings are in `config-history/`."
    )


def _first_run(error: FathomlightError) -> None:
    """Say how to begin where there is no workspace yet."""
    st.title("Welcome to Fathomlight", anchor=False)
    widgets.error_box(error)
    st.markdown(
        f"The folder looked at is `{data.folder()}`. A workspace is a folder with `config/` and `data/`. "
        "Two ways to begin, each one line in a terminal:"
    )
    st.markdown("**Look around with invented waters**")
    st.code("fathomlight demo DIR && fathomlight serve --workspace DIR", language=None)
    st.markdown("**Start a workspace of your own**")
    st.code("fathomlight init DIR && fathomlight serve --workspace DIR", language=None)
