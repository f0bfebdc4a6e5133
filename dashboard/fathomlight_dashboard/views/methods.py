"""Methods: every formula, its source, its limits, and the cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight_dashboard import widgets
from fathomlight_dashboard.methods_text import CAUTIONS, GROUPS, Method
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

SAFETY_KEY = "cautions"


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    widgets.sentence(
        "Every number here can be traced: what was done, after whom, and where it stops being right."
    )
    groups = {g.key: g for g in GROUPS}
    words = {k: g.title for k, g in groups.items()} | {SAFETY_KEY: "Cautions", "settings": "Settings here"}
    key = state.choose("about", "About", list(words), words=words.__getitem__)
    if key == SAFETY_KEY:
        widgets.caution(*CAUTIONS)
    elif key == "settings":
        _settings(ws)
    else:
        for method in groups[key].methods:
            _method(method)


def _method(method: Method) -> None:
    st.header(method.title, anchor=False, divider="gray")
    st.markdown(widgets.plain(method.what))
    for formula in method.formulas:
        st.latex(formula)
    st.markdown(f"**Limits.** {widgets.plain(method.limits)}")
    st.caption(f"Source: {widgets.plain(method.source)}")


def _settings(ws: Workspace) -> None:
    st.markdown(
        "What this workspace has set. A manager changes it on the page Settings; whoever looks after the server, in "
        "the files of `config/`."
    )
    st.header("Parameters", anchor=False, divider="gray")
    st.dataframe(
        [
            {
                "Parameter": p.label,
                "Unit": p.unit,
                "Clearer when": p.clearer or "says nothing of clarity",
                "Digits": p.decimals,
                "CF standard name": p.standard_name or "",
            }
            for p in ws.parameters.values()
        ],
        hide_index=True,
        width="stretch",
        key="parameters",
    )
    st.header("Seasons", anchor=False, divider="gray")
    st.dataframe(
        [{"Season": s.name, "Months": ", ".join(str(m) for m in s.months)} for s in ws.seasons.seasons],
        hide_index=True,
        width="stretch",
        key="seasons",
    )
    st.header("Light constants", anchor=False, divider="gray")
    st.dataframe(
        [
            {"Water": w.name, "Kind": w.kind, "k in Kd = k / disc depth": w.kd_constant}
            for w in ws.waters.values()
        ],
        hide_index=True,
        width="stretch",
        key="constants",
    )


PAGE = Page(
    title="Methods",
    path="methods",
    order=90,
    question="Which formulas are used, after whom, and where do they stop being right?",
    render=render,
)
