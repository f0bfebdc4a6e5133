"""The first page of a workspace that holds no reading yet: two ways to begin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight_dashboard import data, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def is_empty(ws: Workspace) -> bool:
    """Return whether no station has any reading."""
    return bool(data.ask(ws, "counts").empty)


def has_demo(ws: Workspace) -> bool:
    """Return whether the files of the demo waters lie in this workspace."""
    return ws.invented and (ws.root / "data" / "load.toml").is_file()


def render(ws: Workspace, state: State) -> None:
    """Say how to begin, and offer to load the demo waters where they are."""
    widgets.sentence("There is no reading here yet. Two ways to begin:")
    with st.container(border=True):
        st.markdown("**Your own readings**")
        st.markdown(
            "Name your waters and stations in `config/waters.toml` and `config/stations.csv`, then add one visit on "
            "a form, or a spreadsheet or logger file: it is checked before anything is stored."
        )
        if ws.rights.has("volunteer"):
            state.link("add", "Add readings", icon=":material/add:")
        else:
            st.caption("Adding readings takes the role volunteer.")
    with st.container(border=True):
        st.markdown("**Look around with invented waters**")
        if not has_demo(ws):
            st.markdown(
                "In a terminal, in a folder of its own, so that invented and real readings never mix:"
            )
            st.code("fathomlight demo DIR && fathomlight serve --workspace DIR", language=None)
            return
        st.markdown(
            "The files of the invented demo waters lie in this workspace. Loading them takes about a minute."
        )
        if not ws.rights.has("manager"):
            st.caption("Loading them takes the role manager.")
        elif st.button("Load the demo waters", type="primary", icon=":material/science:"):
            _load(ws, state)


def _load(ws: Workspace, state: State) -> None:
    from fathomlight.workspace import load_demo

    ws.require("manager", "loading the demo waters")
    bar = st.progress(0.0, text="Loading the demo waters …")

    def tell(done: int, of: int) -> None:
        bar.progress(done / of, text=f"File {done} of {of} is loaded.")

    n = load_demo(ws.root, progress=tell)
    state.once(f"The demo waters are loaded: {n:,} values of invented data.")
    st.rerun()
