"""A file: read and checked first, loaded only when asked."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import count_text
from fathomlight.ingest import Recipe
from fathomlight_dashboard import add_propose, data, uploads, widgets
from fathomlight_dashboard.add_asks import BY_COLUMN_WORDS
from fathomlight_dashboard.add_report import counts_line, show_refused

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

FIND_OUT = "(find out from the file)"
BY_COLUMN = "(column by column)"
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
        "Recipe", [FIND_OUT, BY_COLUMN, *sorted(ws.recipes)], key="recipe", format_func=lambda n: _recipe_words(ws, n),
        help="How the file's columns become readings. Recipes are written in config/recipes.",
    )  # fmt: skip
    if upload is None:
        state.forget("checked")
        state.forget("proposal")
        _templates(ws)
        return
    content = upload.getvalue()
    try:
        _read(ws, state, upload.name, content, recipe)
    except FathomlightError as error:
        widgets.error_box(error)


def _read(ws: Workspace, state: State, name: str, content: bytes, recipe: str | Recipe) -> None:
    """Find the recipe, asking where it is not certain; then check the file with it, and offer to load it."""
    mark = (uploads.fingerprint(content), name, ws.data_version, len(ws.recipes))
    made_up = False
    if recipe in (FIND_OUT, BY_COLUMN):
        by_column = recipe == BY_COLUMN
        proposal = _once(
            state,
            "proposal",
            (*mark, by_column),
            "Looking at the file …",
            lambda: add_propose.propose(ws, name, content, by_column=by_column),
        )
        if proposal.certain:
            ready = recipe = proposal.made()
            st.caption(
                f"Read by the recipe “{widgets.plain(ready.name)}”. If a column is taken for the wrong thing, "
                f"choose “{BY_COLUMN_WORDS}” as the recipe."
            )
        else:
            lead = "The file is read column by column." if by_column else "No ready recipe reads this file."
            found = add_propose.recipe_for(ws, proposal, name, f"{mark[0][:12]} {by_column}", lead)
            if found is None:
                return
            recipe, made_up = found, not proposal.ready
    known = recipe if isinstance(recipe, str) else recipe.model_dump_json()
    report = _once(
        state,
        "checked",
        (*mark, known),
        "Reading the file …",
        lambda: uploads.check(ws, name, content, recipe),
    )
    _report(ws, state, report, name, content, recipe)
    if made_up and isinstance(recipe, Recipe):
        add_propose.keep(ws, state, recipe)


def _once(state: State, name: str, mark: Any, words: str, make: Callable[[], Any]) -> Any:
    """Do something once for a mark, and remember it for this visit."""
    kept = state.kept(name)
    if kept is None or kept[0] != mark:
        with st.spinner(words):
            kept = (mark, make())
        state.keep(name, kept)
    return kept[1]


def _recipe_words(ws: Workspace, name: str) -> str:
    if name == FIND_OUT:
        return "Find out from the file"
    if name == BY_COLUMN:
        return BY_COLUMN_WORDS
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


def _report(
    ws: Workspace, state: State, report: Any, name: str, content: bytes, recipe: str | Recipe
) -> None:
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
