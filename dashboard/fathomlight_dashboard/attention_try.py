"""Try a rule: how often it would have asked for attention, so that its limits are chosen from the past."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.figures import rule_by_year
from fathomlight.figures.shown import Units, count_text, date_text
from fathomlight_dashboard import data, widgets
from fathomlight_dashboard.words import rule_words, said

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

NONE = "none"
YEARS_BACK = 5


def render(ws: Workspace, state: State) -> None:
    """Draw the section: a rule, a date, what it would have done since."""
    st.header("Try a rule", anchor=False)
    st.markdown(
        "How often would a rule have asked for attention? Nothing is stored. A manager changes its "
        "limits on the page Settings, in alerts.toml; then look again."
    )
    left, right = st.columns(2)
    rule = state.choose(
        "try", "Rule", [NONE, *(r.id for r in ws.rules)], words=lambda r: _choice(ws, r), place=left
    )
    usual = dt.date(ws.as_of.year - YEARS_BACK, 1, 1)
    since = state.date("since", "Since", default=usual, place=right) or usual
    if rule == NONE:
        return
    if since >= ws.as_of:
        st.warning(f"Choose a date before {date_text(ws.as_of)}, the day taken as today.")
        return
    answer = data.ask(ws, "try_rule", rule, since.isoformat())
    st.markdown(widgets.plain(replay_sentence(answer)))
    look = state.look
    shown = data.draw(
        ws, "try", rule, since.isoformat(), look.name, make=lambda: rule_by_year(answer.per_year, look=look)
    )
    if answer.fired:
        widgets.picture(shown, key="try picture")
    rows = _table(ws, answer, state.units(ws))
    if len(rows):
        widgets.table(rows, key="try table", file_name=f"try-{rule}", config=_DATES)
    widgets.notes(answer.notes, title="What this cannot know")


_DATES = {c: widgets.date_column(c) for c in ("Opened", "Over")}


def _choice(ws: Workspace, rule: str) -> str:
    if rule == NONE:
        return "Choose a rule"
    found = ws.rule(rule)
    off = "" if found.enabled else " (switched off)"
    what = ws.parameters[found.parameter].label.lower() if found.parameter in ws.parameters else ""
    return f"{rule_words(rule)} · {what}{off}" if what else f"{rule_words(rule)}{off}"


def replay_sentence(answer: Any) -> str:
    """Say in one sentence what a rule would have done.

    Parameters
    ----------
    answer : Replay
        Of ``try_rule``.

    Returns
    -------
    str
        Times, stations, days open, and whether it would be open now.
    """
    name, start = rule_words(answer.rule), date_text(answer.since)
    if not answer.fired and not answer.days_open:
        return f"Since {start} the rule “{name}” would not have asked for attention once."
    span = (answer.until - answer.since) / pd.Timedelta(days=365.25)
    often = f"{answer.fired / span:.1f} a year"
    text = (
        f"Since {start} the rule “{name}” would have asked for attention {count_text(answer.fired, 'time')} "
        f"({often}) at {count_text(len(answer.per_station), 'station')}, open for "
        f"{count_text(round(answer.days_open), 'day')} in all, counted station by station"
    )
    return f"{text}; {answer.open_now} would be open now."


def _table(ws: Workspace, answer: Any, units: Units) -> pd.DataFrame:
    rows = [
        {
            "Station": ws.stations[e.station].name if e.station in ws.stations else e.station,
            "Opened": _day(e.opened),
            "Over": _day(e.over),
            "Days": round(((e.over or answer.until) - e.opened) / pd.Timedelta(days=1)),
            "What": said(ws.told(e, units)[0]),
        }
        for e in sorted(answer.episodes, key=lambda e: e.opened, reverse=True)
        if e.aspect != "check"
    ]
    return pd.DataFrame(rows)


def _day(when: Any) -> dt.date | None:
    return None if when is None or pd.isna(when) else when.date()
