"""A file: read and checked first, loaded only when asked."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import count_text
from fathomlight_dashboard import data, uploads, widgets
from fathomlight_dashboard.add_report import counts_line, show_refused

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

FIND_OUT = "(find out from the file)"
TEMPLATES = {
    "visits.xlsx": ("Empty workbook", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    "field-sheet.html": ("Field sheet to print", "text/html"),
}


def render(ws: Workspace, state: State) -> None:
    """Draw the file way: choose, check, look, load."""
    widgets.sentence("A file is checked first; nothing is stored until you say so.")
    upload = st.file_uploader(
        "Spreadsheet or logger file",
        type=uploads.KINDS,
        key="upload",
        help="CSV, Excel or NetCDF, up to 64 MB. A recipe says what its columns mean.",
    )
    recipe = st.selectbox(
        "Recipe", [FIND_OUT, *sorted(ws.recipes)], key="recipe", format_func=lambda n: _recipe_words(ws, n),
        help="How the file's columns become readings. Recipes are written in config/recipes.",
    )  # fmt: skip
    if upload is None:
        state.forget("checked")
        _templates(ws)
        return
    content = upload.getvalue()
    chosen = None if recipe == FIND_OUT else recipe
    mark = (uploads.fingerprint(content), upload.name, recipe, ws.data_version)
    kept = state.kept("checked")
    if kept is None or kept[0] != mark:
        try:
            with st.spinner("Reading the file …"):
                kept = (mark, uploads.check(ws, upload.name, content, chosen))
        except FathomlightError as error:
            widgets.error_box(error)
            return
        state.keep("checked", kept)
    _report(ws, state, kept[1], upload.name, content, chosen)


def _recipe_words(ws: Workspace, name: str) -> str:
    if name == FIND_OUT:
        return "Find out from the file"
    described = ws.recipes[name].description
    return f"{name}: {described}" if described else name


def _templates(ws: Workspace) -> None:
    st.markdown("**No file yet?** Take an empty sheet, with your stations and units already in it.")
    for place, (name, (label, mime)) in zip(st.columns(2), TEMPLATES.items(), strict=True):
        place.download_button(
            label,
            data=data.template(ws, name, _template),
            file_name=name,
            mime=mime,
            icon=":material/download:",
            on_click="ignore",
            width="stretch",
        )


def _template(ws: Workspace, name: str) -> bytes:
    with tempfile.TemporaryDirectory(prefix="fathomlight-") as folder:
        return ws.write_template(Path(folder) / name).read_bytes()


def _report(ws: Workspace, state: State, report: Any, name: str, content: bytes, recipe: str | None) -> None:
    widgets.sentence(report.sentence)
    st.markdown(counts_line(report))
    for warning in report.warnings:
        st.warning(widgets.plain(str(warning)))
    show_refused(report, key="file", file_name=f"refused-{uploads.safe_name(name)}")
    if len(report.preview):
        shown = count_text(len(report.preview), "value")
        with st.expander(f"The first {shown} as they would be stored"):
            st.dataframe(_preview(report.preview), hide_index=True, width="stretch", key="preview")
    n = report.n_new + report.n_corrected
    if n == 0:
        st.info("There is nothing new in this file to load.")
        return
    why = st.text_input("Why, or where from (kept with the batch)", key="why load", max_chars=300)
    rest = f"; {count_text(report.n_refused, 'refused value')} stay out" if report.n_refused else ""
    st.caption(f"{count_text(n, 'value')} would be stored{rest}.")
    what = "Load these readings" if report.kind in {"readings", "profiles"} else "Load these rows"
    if st.button(what, type="primary", icon=":material/upload:"):
        with st.spinner("Loading …"):
            done = uploads.load(ws, name, content, recipe, why)
        state.forget("checked")
        state.once(f"Batch {done.batch}: {done.sentence}")
        st.rerun()


def _preview(rows: pd.DataFrame) -> pd.DataFrame:
    wanted = {
        "station": "Station",
        "local_date": "Date",
        "parameter": "Parameter",
        "depth_m": "Depth [m]",
        "qualifier": "Qualifier",
        "value": "Value",
        "original_value": "As written",
        "original_unit": "Unit as written",
    }
    names = {c: w for c, w in wanted.items() if c in rows}
    return rows[list(names)].rename(columns=names) if names else rows
