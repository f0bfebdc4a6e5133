"""Who did what: loads, flags, episodes seen, batches withdrawn, settings changed, logins, refusals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from fathomlight.errors import ArgumentError
from fathomlight.figures.shown import count_text, date_text
from fathomlight.workspace.trail import DEEDS, deed_words
from fathomlight_dashboard import widgets
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    import datetime as dt

    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

ALL = "all"
ALONE = "(without login)"
COLUMNS = {
    "done": "When (UTC)", "deed": "What was done", "what": "To what", "who": "Who", "why": "Why", "role": "Role",
}  # fmt: skip


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    ever = ws.audit_counts()
    if not ever:
        widgets.sentence("Nothing has been written down yet.")
        widgets.nothing_yet(
            "This page fills by itself.",
            "Every load, every decision about a flag or a batch, every episode marked as seen and every change of "
            "the settings is kept here, with the day, the person and the reason.",
        )
        return
    left, middle, right = st.columns([2, 1, 1])
    kind = state.choose(
        "deed", "What was done", [ALL, *_in_order(ever)], words=_choice, place=left,
        help="Refused: somebody tried what their role does not allow.",
    )  # fmt: skip
    start, end = state.date("from", "From", place=middle), state.date("to", "To", place=right)
    try:
        counts = ws.audit_counts(start=start, end=end)
    except ArgumentError:
        st.warning("The period ends before it begins: swap the two days.")
        return
    total = sum(n for name, n in counts.items() if kind in (ALL, name))
    action = None if kind == ALL else kind
    rows = ws.trail(action=action, start=start, end=end, limit=widgets.SHOWN)
    widgets.sentence(_sentence(rows, total, kind, bool(start or end)))
    if rows.empty:
        st.caption("Choose another period or another kind of deed to see more.")
        return
    widgets.table(
        _shown(rows).assign(**{COLUMNS["done"]: rows["done"].dt.tz_localize(None)}),
        key="trail",
        file_name="who-did-what" + _span_name(start, end),
        config={
            COLUMNS["done"]: st.column_config.DatetimeColumn(COLUMNS["done"], format="D MMM YYYY, HH:mm")
        },
        height=560 if len(rows) > 14 else None,
        whole=lambda: _file(ws.trail(action=action, start=start, end=end, limit=max(total, 1))),
        total=total,
    )
    st.caption(
        "Kept for good, the newest first, times in Coordinated Universal Time (UTC). A person is named by what the "
        "login gave: an e-mail address, or the program that did it. The file holds the same: handle it as personal "
        "data."
    )


def _in_order(counts: dict[str, int]) -> list[str]:
    known = [a for a in DEEDS if a in counts]
    return known + sorted(set(counts) - set(known))


def _choice(action: str) -> str:
    if action == ALL:
        return "Everything"
    words = deed_words(action)
    return words[:1].upper() + words[1:]


def _sentence(rows: pd.DataFrame, total: int, kind: str, narrowed: bool) -> str:
    what = "" if kind == ALL else f" “{deed_words(kind)}”"
    when = " in this period" if narrowed else ""
    if rows.empty:
        return f"Nothing{what} was written down{when}."
    people = rows.loc[rows["who"] != "", "who"].nunique()
    by = f" by {count_text(people, 'person or program', 'people or programs')}" if people else ""
    entries = count_text(total, "entry", "entries")
    return f"{entries}{what}{when}{by}; the latest on {date_text(rows['done'].iloc[0])}."


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    named = rows.assign(who=rows["who"].where(rows["who"] != "", ALONE))
    return named[list(COLUMNS)].rename(columns=COLUMNS)


def _file(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the file, with times to the second that every program reads alike."""
    return _shown(rows).assign(**{COLUMNS["done"]: rows["done"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")})


def _span_name(start: dt.date | None, end: dt.date | None) -> str:
    return (f"-from-{start}" if start else "") + (f"-to-{end}" if end else "")


PAGE = Page(
    title="Who did what",
    path="trail",
    order=85,
    question="Who loaded, decided or changed what, when and why?",
    render=render,
    least="reviewer",
)
