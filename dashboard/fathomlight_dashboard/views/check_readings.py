"""Check readings: suspect readings, refused rows, and batches that can be withdrawn and put back."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.figures.shown import count_text, date_text, parameter_number, shown_unit, to_shown
from fathomlight.model import Flag
from fathomlight_dashboard import data, widgets
from fathomlight_dashboard.page import Page
from fathomlight_dashboard.station_views import FLAG_WORDS

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

REFUSED_WORDS = {
    "batch": "Batch",
    "file": "File",
    "line": "Line",
    "column": "Column",
    "value": "Value",
    "reason": "Why it was refused",
    "remedy": "What to do",
}
BATCH_WORDS = {
    "batch": "Batch",
    "file": "File",
    "state": "State",
    "loaded": "Loaded",
    "n_new": "New",
    "n_known": "Known",
    "n_corrected": "Corrected",
    "n_refused": "Refused",
    "recipe": "Recipe",
    "who": "Who",
    "why": "Why",
}
SHOWN = 500


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(str(message), icon=":material/check:")
    view = state.choose(
        "view",
        "What to look at",
        list(VIEWS),
        words={"suspect": "Suspect readings", "refused": "Refused rows", "batches": "Batches"}.__getitem__,
        widget="segments",
    )
    VIEWS[view](ws, state)


def suspect_view(ws: Workspace, state: State) -> None:
    """Readings whose flag is suspect or fail, newest first."""
    rows = data.ask(ws, "readings", flags=(int(Flag.SUSPECT), int(Flag.FAIL)))
    rows = rows.sort_values("time", ascending=False)
    n = {f: int((rows["flag"] == f).sum()) for f in (3, 4)}
    widgets.sentence(
        f"{count_text(n[3], 'reading')} suspect and {n[4]} failed; none of them enters a statistic."
        if len(rows)
        else "No reading is suspect or failed."
    )
    if rows.empty:
        return
    units = state.units(ws)
    table = pd.DataFrame(
        {
            "Flag": [FLAG_WORDS.get(int(f), str(f)) for f in rows["flag"]],
            "Station": [ws.stations[s].name if s in ws.stations else s for s in rows["station"]],
            "Parameter": [ws.parameters[p].label if p in ws.parameters else p for p in rows["parameter"]],
            "Value": [_value(ws, r, units) for r in rows[["value", "parameter", "qualifier"]].itertuples()],
            "Date": rows["local_date"].dt.date.tolist(),
            f"Depth [{shown_unit('m', units)}]": np.round(
                np.asarray(to_shown(rows["depth_m"].to_numpy(float), "m", units)), 1
            ),
            "As written": (rows["original_value"] + " " + rows["original_unit"]).str.strip().tolist(),
            "Batch": rows["batch"].tolist(),
        }
    )
    event = widgets.table(
        table.head(SHOWN), key="suspect", file_name="suspect-readings",
        config={"Date": widgets.date_column()}, on_select="rerun", download=False,
    )  # fmt: skip
    if len(table) > SHOWN:
        st.caption(f"The newest {SHOWN} are shown; the file has all {len(table):,}.")
    widgets.download_csv(table, key="suspect file", file_name="suspect-readings")
    picked = event["selection"]["rows"] if event else []
    if picked:
        _decide(ws, state, rows.iloc[picked[0]])
    else:
        st.caption("Choose a row to see the reading's history and to decide about its flag.")


def _value(ws: Workspace, row: Any, units: Any) -> str:
    parameter = ws.parameters.get(row.parameter)
    return parameter_number(row.value, parameter, units, row.qualifier) if parameter else f"{row.value:g}"


def _decide(ws: Workspace, state: State, row: pd.Series) -> None:
    identity = {k: row[k] for k in ("station", "parameter", "depth_m", "time", "replicate")}
    name = ws.stations[row["station"]].name if row["station"] in ws.stations else row["station"]
    with st.container(border=True):
        st.markdown(f"**{name}, {date_text(row['local_date'])}**")
        state.link(
            "station", "See it among the others", icon=":material/show_chart:",
            station=row["station"], parameter=row["parameter"], view="readings",
        )  # fmt: skip
        history = ws.history(**identity)
        if len(history):
            st.markdown("How it came to this flag")
            st.dataframe(history, hide_index=True, width="stretch", key="flag history")
        if not ws.rights.has("reviewer"):
            st.caption("Deciding about a flag takes the role reviewer.")
            return
        with st.form("flag form", border=False):
            flag = st.radio(
                "Flag", [1, 3, 4], format_func=FLAG_WORDS.__getitem__, horizontal=True,
                index=[1, 3, 4].index(int(row["flag"])) if int(row["flag"]) in (1, 3, 4) else 1,
                help="Pass readings enter the statistics; suspect and failed ones do not.",
            )  # fmt: skip
            reason = st.text_input(
                "Why", max_chars=300, help="It is kept with the flag, for whoever asks later."
            )
            if st.form_submit_button("Set this flag", type="primary"):
                if not reason.strip():
                    st.error("Say why: a flag without a reason cannot be defended.")
                else:
                    ws.set_flag(identity, int(flag), reason.strip())
                    state.once(
                        f"{name}, {date_text(row['local_date'])}: flag set to {FLAG_WORDS[int(flag)]}."
                    )
                    st.rerun()
        if st.button("Take back the last flag a person set", icon=":material/undo:"):
            done = ws.undo_flag(identity)
            state.once("The earlier flag is in force again." if done else "No flag here was set by a person.")
            st.rerun()


def refused_view(ws: Workspace, state: State) -> None:
    """Rows of loaded files that could not be used, with reason and remedy."""
    rows = data.ask(ws, "refused")
    widgets.sentence(
        f"{count_text(len(rows), 'row')} of the loaded files could not be used; the good rows beside them "
        "were."
        if len(rows)
        else "Every row of every loaded file could be used."
    )
    if rows.empty:
        return
    event = widgets.table(
        rows, key="refused", file_name="refused-rows", columns=REFUSED_WORDS, on_select="rerun"
    )
    picked = event["selection"]["rows"] if event else []
    if picked:
        _correct(ws, state, rows.iloc[picked[0]])
    else:
        st.caption(
            "Choose a row to correct it here, or correct the file and load it again: what is known is skipped."
        )


def _correct(ws: Workspace, state: State, row: pd.Series) -> None:
    """Let the reader change the cells of a refused row and try it again."""
    try:
        cells = {str(k): str(v) for k, v in json.loads(row["row_text"]).items()}
    except (ValueError, AttributeError):
        st.info("This row cannot be corrected here: correct it in its file and load the file again.")
        return
    with st.container(border=True):
        st.markdown(
            f"**{widgets.plain(str(row['file']))}, line {row['line']}**: {widgets.plain(row['reason'])}"
        )
        st.caption(widgets.plain(str(row["remedy"])))
        mark = f"{row['batch']} {row['line']} {row['column']}"
        with st.form(f"correct {mark}", border=False):
            given = {
                name: st.text_input(name, value=text, key=f"cell {mark} {name}", max_chars=200)
                for name, text in cells.items()
            }
            if st.form_submit_button("Try this row again", type="primary"):
                changes = {name: text for name, text in given.items() if text != cells[name]}
                done = ws.retry(int(row["batch"]), int(row["line"]), str(row["column"]), changes, "corrected")
                if done.batch is None:
                    st.error(
                        "Still refused: " + "; ".join(widgets.plain(str(r)) for r in done.refused["reason"])
                    )
                else:
                    state.once(f"Line {row['line']} is stored as batch {done.batch}. {done.sentence}")
                    st.rerun()


def batches_view(ws: Workspace, state: State) -> None:
    """Every load, newest first; a batch can be withdrawn as a whole, and put back."""
    table = ws.batches()
    if table.empty:
        widgets.nothing_yet("Nothing has been loaded yet.", "Add readings on the page Add readings.")
        return
    table = table.sort_values("batch", ascending=False)
    active = int((table["state"] == "active").sum())
    widgets.sentence(
        f"{count_text(active, 'batch', 'batches')} in force, {len(table) - active} not in force."
    )
    widgets.table(
        table.assign(loaded=table["loaded"].dt.tz_localize(None)), key="batches", file_name="batches",
        columns=BATCH_WORDS, config={"Loaded": st.column_config.DatetimeColumn("Loaded", format="D MMM YYYY, HH:mm")},
        height=320,
    )  # fmt: skip
    numbers = [int(b) for b in table["batch"]]
    names = dict(zip(numbers, table["file"].astype(str), strict=True))
    states = dict(zip(numbers, table["state"].astype(str), strict=True))
    if not ws.rights.has("reviewer"):
        st.caption("Withdrawing a batch takes the role reviewer.")
        return
    st.header("Withdraw a batch, or put it back", anchor=False)
    st.caption(
        "Nothing is deleted: what the batch had corrected comes back, and the batch can be put back later."
    )
    batch = st.selectbox(
        "Batch", numbers, format_func=lambda b: f"{b} · {names[b]} · {states[b]}", key="batch to change"
    )
    why = st.text_input("Why", key="why change the batch", max_chars=300)
    verb = "Withdraw" if states[batch] == "active" else "Put back"
    if st.button(f"{verb} batch {batch}", disabled=not why.strip(), icon=":material/swap_horiz:"):
        (ws.withdraw if verb == "Withdraw" else ws.restore)(batch, why.strip())
        state.once(
            f"Batch {batch} ({names[batch]}) is {'withdrawn' if verb == 'Withdraw' else 'in force again'}."
        )
        st.rerun()


VIEWS = {"suspect": suspect_view, "refused": refused_view, "batches": batches_view}

PAGE = Page(
    title="Check readings",
    path="check",
    order=60,
    question="Which readings are suspect, which rows were refused, what was loaded?",
    render=render,
)
