"""Settings: what is in force, in plain words; change a file; put an earlier version back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import count_text, shown_unit, to_shown
from fathomlight_dashboard import settings_change, settings_words, widgets
from fathomlight_dashboard.page import Page
from fathomlight_dashboard.words import rule_words

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

SEVERITY = {"act": "act", "look": "look into", "note": "note"}
EVERYBODY = "Without login there is one person, who may do everything: whoever reaches this address."


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(widgets.plain(message), icon=":material/check:")
    view = state.choose(
        "view", "What to look at", list(VIEWS),
        words={"now": "In force", "change": "Change a file", "earlier": "Earlier versions"}.__getitem__,
        widget="segments",
    )  # fmt: skip
    VIEWS[view](ws, state)


def now_view(ws: Workspace, state: State) -> None:
    """Say what is in force."""
    running = sum(r.enabled for r in ws.rules)
    widgets.sentence(
        f"{ws.name}: {count_text(len(ws.waters), 'water')}, {count_text(len(ws.stations), 'station')}, "
        f"{count_text(running, 'rule')} that {'runs' if running == 1 else 'run'}; values are shown in "
        f"{settings_words.UNITS[ws.units]}; today is taken as {widgets.today_text(ws.as_of)}."
    )
    st.table(
        pd.DataFrame(settings_words.summary(ws), columns=["Setting", "How it is set"]),
        hide_index=True, border="horizontal",
    )  # fmt: skip
    _change(state, "workspace.toml")
    _stations(ws, state)
    _rules(ws, state)
    _notices(ws, state)
    _roles(ws)


def _heading(title: str) -> None:
    st.header(title, anchor=False, divider="gray")


def _change(state: State, name: str) -> None:
    st.button(
        f"Change {name}", icon=":material/edit:", key=f"change {name}", on_click=_open, args=(state, name)
    )


def _open(state: State, name: str) -> None:
    state.set("view", "change")
    state.set("file", name)
    state.flush()


def _stations(ws: Workspace, state: State) -> None:
    _heading("Stations and schedules")
    units = state.units(ws)
    rows = [
        {
            "Station": s.name,
            "Id": s.id,
            "Water": ws.waters[s.water].name,
            "To be read": settings_words.schedule_text(s.schedule_days),
            f"Depth of the water [{shown_unit('m', units)}]": None
            if s.bottom_depth_m is None
            else round(float(to_shown(s.bottom_depth_m, "m", units)), 1),
            "Time zone": s.timezone,
            "Other names": ", ".join(s.aliases),
        }
        for s in ws.stations.values()
    ]
    widgets.table(pd.DataFrame(rows), key="stations in force", file_name="stations", height=320)
    _change(state, "stations.csv")


def _rules(ws: Workspace, state: State) -> None:
    _heading("Rules")
    if not ws.rules:
        widgets.nothing_yet("No rule is set up, so nothing can ask for attention.", "Begin alerts.toml.")
    else:
        units = state.units(ws)
        rows = pd.DataFrame(
            [
                {
                    "Rule": rule_words(r.id),
                    "Asks for attention when": settings_words.rule_text(
                        r, ws.parameters.get(r.parameter), units
                    ),
                    "Where": settings_words.where_text(ws, r),
                    "Months": settings_words.months_text(r.months),
                    "Severity": SEVERITY.get(r.severity, r.severity),
                    "State": "runs" if r.enabled else "switched off",
                }
                for r in ws.rules
            ]
        )
        st.markdown("\n".join(_rule_line(row) for row in rows.to_dict("records")))
        widgets.download_csv(rows, key="rules file", file_name="rules", label="Download the rules (CSV)")
    _change(state, "alerts.toml")


def _rule_line(row: dict[Any, Any]) -> str:
    """Write a rule as a line of a list, which a phone shows whole."""
    said = {k: widgets.plain(str(v)) for k, v in row.items()}
    off = "" if row["State"] == "runs" else " · **switched off**"
    return (
        f"- **{said['Rule']}**: {said['Asks for attention when']}. *{said['Where']}; {said['Months']}; "
        f"{said['Severity']}*{off}"
    )


def _notices(ws: Workspace, state: State) -> None:
    from fathomlight.notices import load_notices

    _heading("Notices")
    try:
        found = load_notices(ws)
    except FathomlightError as error:
        widgets.error_box(error)
    else:
        on = [t for t in found.targets if t.enabled]
        st.markdown(widgets.plain(_notice_words(len(found.targets), len(on), found.quiet)))
        rows = [
            {
                "Target": t.name,
                "By": t.kind,
                "State": "sends" if t.enabled else "switched off",
                "Severities": ", ".join(SEVERITY[s] for s in t.severities),
                "Also when an episode is over": "yes" if t.when_over else "no",
            }
            for t in found.targets
        ]
        if rows:
            widgets.table(pd.DataFrame(rows), key="notices in force", file_name="notices", download=False)
    _change(state, "notices.toml")


def _notice_words(n: int, n_on: int, quiet: Any) -> str:
    text = (
        f"{count_text(n_on, 'target')} of {n} {'sends' if n_on == 1 else 'send'} notices of new episodes."
        if n_on
        else "No notice is sent: no target is switched on."
    )
    if quiet is not None:
        text += f" Nothing is sent from {quiet.start:%H:%M} to {quiet.end:%H:%M}"
        text += f", but for {', '.join(SEVERITY[s] for s in quiet.but)}." if quiet.but else "."
    return text


def _roles(ws: Workspace) -> None:
    _heading("People and roles")
    login = ws.config.login
    if not login.enabled:
        st.markdown(EVERYBODY)
    else:
        rows = [{"Who": p.email, "Role": p.role, "Waters": _waters(ws, p.waters)} for p in login.person] + [
            {"Who": f"everybody with {c.name} = {c.value}", "Role": c.role, "Waters": _waters(ws, c.waters)}
            for c in login.claim
        ]
        if rows:
            widgets.table(pd.DataFrame(rows), key="roles in force", file_name="roles")
    st.caption(
        "Login and roles are not changed from these pages, where a slip would lock everybody out: whoever looks after "
        "the server changes the table [login] in config/workspace.toml. It counts at the next click."
    )


def _waters(ws: Workspace, waters: tuple[str, ...] | None) -> str:
    if waters is None:
        return "all"
    return ", ".join(ws.waters[w].name for w in waters) or "none"


VIEWS = {"now": now_view, "change": settings_change.change_view, "earlier": settings_change.earlier_view}

PAGE = Page(
    title="Settings",
    path="settings",
    order=95,
    question="Which settings are in force, and how are they changed?",
    render=render,
    least="manager",
)
