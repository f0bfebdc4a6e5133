"""Add readings: one visit on a form, or a file with a dry run first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight_dashboard import add_file, add_visit
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

WAYS = {"visit": ("One visit", add_visit.render), "file": ("A file", add_file.render)}


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(message, icon=":material/check:")
    way = state.choose("way", "What do you have?", list(WAYS), words=lambda w: WAYS[w][0], widget="segments")
    WAYS[way][1](ws, state)


PAGE = Page(
    title="Add readings",
    path="add",
    order=50,
    question="Add one visit, or a file: it is checked before anything is stored.",
    render=render,
    least="volunteer",
    carries=("units", "station"),
)
