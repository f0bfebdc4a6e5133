"""Attention: which rules ask for attention now, since when, and what was done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.figures import episode_strip
from fathomlight.figures.shown import count_text, date_text
from fathomlight_dashboard import attention_try, data, widgets
from fathomlight_dashboard.in_units import peak_sentence
from fathomlight_dashboard.page import Page
from fathomlight_dashboard.words import rule_words, said

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

SEVERITY = {"act": "act", "look": "look into", "note": "note"}
STATE_WORDS = {"open": "open", "seen": "seen", "over": "over"}


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(str(message), icon=":material/check:")
    if not ws.rules:
        widgets.nothing_yet(
            "No rule is set up, so nothing can ask for attention.",
            "A manager begins alerts.toml on the page Settings.",
        )
        return
    episodes = data.ask(ws, "episodes", units=state.units(ws))
    now = episodes[episodes["state"] != "over"]
    widgets.sentence(_sentence(now, len(ws.rules)))
    if ws.rights.has("volunteer"):
        _again(ws, state)
    years = ["1", "3", "all"]
    span = state.choose(
        "span",
        "Show",
        years,
        words={"1": "The last year", "3": "The last 3 years", "all": "Everything"}.__getitem__,
        widget="segments",
    )
    rows = _recent(episodes, ws, span)
    units, look = state.units(ws), state.look
    drawn = rows.assign(
        ended=rows["over"],
        opened=_naive(rows["opened"]),
        rule=[rule_words(r) for r in rows["rule"]],
        sentence=[said(str(m)) for m in rows["message"]],
    )
    drawn["ended"] = _naive(drawn["ended"])
    shown = data.draw(
        ws, "episodes", span, units, look.name,
        make=lambda: episode_strip(drawn, today=ws.as_of, units=units, look=look),
    )  # fmt: skip
    widgets.picture(shown, key="episodes")
    if len(now):
        st.header("Not over yet", anchor=False)
        for row in now.to_dict("records"):
            _card(ws, state, row)
    st.header("All of them", anchor=False)
    widgets.table(_table(rows), key="episodes table", file_name="episodes", config=_DATES)
    attention_try.render(ws, state)


_DATES = {c: widgets.date_column(c) for c in ("Opened", "Last reading", "Over")}


def _sentence(now: pd.DataFrame, n_rules: int) -> str:
    n_open = int((now["state"] == "open").sum())
    n_seen = int((now["state"] == "seen").sum())
    if not len(now):
        return f"Nothing needs attention: none of the {n_rules} rules has an episode that is not over."
    stations = now.loc[now["state"] == "open", "station"].nunique()
    text = (
        f"{count_text(n_open, 'open episode')} at {count_text(stations, 'station')}"
        if n_open
        else "None open"
    )
    return text + (f"; {n_seen} seen and not over yet." if n_seen else ".")


def _again(ws: Workspace, state: State) -> None:
    if st.button("Run the rules now", icon=":material/rule:", help="Rules also run after every load."):
        changes = ws.evaluate_alerts()
        state.once(_changes(changes))
        st.rerun()


def _changes(changes: Any) -> str:
    parts = [
        f"{len(found)} {word}"
        for name, word in (("opened", "opened"), ("ended", "ended"), ("amended", "amended"))
        if (found := getattr(changes, name, ()))
    ]
    return f"The rules were run: {', '.join(parts) if parts else 'nothing has changed'}."


def _recent(episodes: pd.DataFrame, ws: Workspace, span: str) -> pd.DataFrame:
    if span == "all" or episodes.empty:
        return episodes
    since = pd.Timestamp(ws.as_of) - pd.DateOffset(years=int(span))
    last = _naive(episodes["over"].where(episodes["over"].notna(), episodes["last"]))
    return episodes[(episodes["state"] != "over") | (last >= since)]


def _naive(times: pd.Series) -> pd.Series:
    return pd.to_datetime(times, utc=True).dt.tz_localize(None)


def _card(ws: Workspace, state: State, row: dict[Any, Any]) -> None:
    with st.container(border=True):
        mark = ":violet[●]" if row["state"] == "open" else ":violet[○]"
        st.markdown(
            f"{mark} **{row['name']}** · {rule_words(row['rule'])} · *{STATE_WORDS[row['state']]}* · "
            f"{SEVERITY.get(row['severity'], row['severity'])}"
        )
        st.markdown(widgets.plain(said(str(row["message"]))))
        seen = ""
        if row["state"] == "seen" and pd.notna(row["seen_at"]):
            note = f": {widgets.plain(str(row['seen_note']))}" if row["seen_note"] else ""
            seen = f" Seen on {date_text(row['seen_at'])}{note}."
        worst = ""
        if not row["message_units"] and state.units(ws) != ws.units and row["parameter"] in ws.parameters:
            worst = peak_sentence(row, ws.parameters[row["parameter"]], state.units(ws))
        since = f"Open since {date_text(row['opened'])}, last reading {date_text(row['last'])}."
        st.caption(f"{since} {worst}{seen}".strip())
        left, right = st.columns(2, vertical_alignment="bottom")
        with left:
            state.link(
                "station", "Open the station", icon=":material/show_chart:",
                station=row["station"], parameter=row["parameter"],
            )  # fmt: skip
        if row["state"] == "open" and ws.rights.has("reviewer"):
            with right.popover("Mark as seen", icon=":material/visibility:"):
                note = st.text_input("What was seen or done", key=f"note {row['key']}", max_chars=300)
                if st.button("Save", key=f"seen {row['key']}", type="primary"):
                    ws.mark_seen(row["key"], note)
                    state.once(f"{row['name']}: marked as seen.")
                    st.rerun()


def _table(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Station": rows["name"].tolist(),
            "State": [STATE_WORDS[s] for s in rows["state"]],
            "Rule": [rule_words(r) for r in rows["rule"]],
            "What": [said(str(m)) for m in rows["message"]],
            "Opened": _naive(rows["opened"]).dt.date.tolist(),
            "Last reading": _naive(rows["last"]).dt.date.tolist(),
            "Over": _naive(rows["over"]).dt.date.tolist(),
            "Readings": rows["n_readings"].tolist(),
        }
    )


PAGE = Page(
    title="Attention",
    path="attention",
    order=40,
    question="Does anything need action, since when, and has someone seen it?",
    render=render,
)
