"""Pieces every page is made of: sentence, picture, table; cautions, labels, and errors said with care."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.cells import escape_frame
from fathomlight.errors import FathomlightError
from fathomlight.figures import LOOKS, Picture
from fathomlight.figures.theme import PLOT_CONFIG

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

SAFETY = (
    "Clear water is not safe water: clarity says nothing about bacteria, toxins, currents, depth or ice. For "
    "swimming, drinking and boating follow the local health and safety authority."
)
"""Said wherever clarity is shown as good."""

SHOWN = 2000
"""Rows of a table that are sent to the page; its file has all of them."""

_STYLE = """<style>
div[data-testid="stCaptionContainer"] { opacity: 0.82; }
button[data-testid^="stBaseButton-primary"] { color: %s; }
</style>"""
"""Small print of the framework is too pale to be read easily, and it writes white on the bright button of the dark
look: contrast at least 4.5 in both looks."""

_LARGE = "font-size: 1.3rem; line-height: 1.4; margin: 0"


def style() -> None:
    """Make small print and the main button of every page easy to read, in the reader's light or dark look."""
    look = LOOKS.get(st.context.theme.type or "light", LOOKS["light"])
    st.html(_STYLE % look.paper)


def invented_label(ws: Workspace) -> None:
    """Say on every page that the waters are invented, when they are."""
    if ws.invented:
        st.caption(f":material/science: **Invented data.** {ws.name}: no real water, place or person.")


def sentence(text: str) -> None:
    """Write the answer of a page or section, large."""
    st.html(f'<p style="font-family: var(--st-heading-font, serif); {_LARGE}">{html.escape(text)}</p>')


def plain(text: str) -> str:
    """Keep characters of data from being read as markup."""
    for sign in "\\`*_[]<>$#~|":
        text = text.replace(sign, f"\\{sign}")
    return text.replace("\n", " ")


def picture(
    shown: Picture,
    *,
    key: str,
    on_select: Any = "ignore",
    selection_mode: Any = "points",
    caption: bool = True,
) -> Any:
    """Draw a picture with its two lines of words.

    Parameters
    ----------
    shown : Picture
        The picture.
    key : str
        Key of the widget.
    on_select, selection_mode
        As for ``st.plotly_chart``.
    caption : bool
        False where the page has said the sentence already.

    Returns
    -------
    object
        What ``st.plotly_chart`` returns: the selection, when asked for.
    """
    event = st.plotly_chart(
        shown.figure,
        width="stretch",
        theme=None,
        key=key,
        config=PLOT_CONFIG,
        alt=shown.alt,
        on_select=on_select,
        selection_mode=selection_mode,
    )
    if caption:
        st.markdown(plain(shown.caption))
    if shown.method_line:
        st.caption(plain(shown.method_line))
    return event


def table(
    rows: pd.DataFrame,
    *,
    key: str,
    file_name: str,
    columns: Mapping[str, str] | None = None,
    config: Mapping[str, Any] | None = None,
    download: bool = True,
    height: int | None = None,
    on_select: Any = None,
    whole: Callable[[], pd.DataFrame] | None = None,
    total: int | None = None,
) -> Any:
    """Show a table, and offer it as a file.

    Parameters
    ----------
    rows : pandas.DataFrame
        The table.
    key : str
        Key of the widget.
    file_name : str
        Name of the file, without ending.
    columns : mapping of str to str, optional
        Columns to show, with the words at their top; all when left out.
    config : mapping, optional
        ``column_config`` of ``st.dataframe``, by the words at the top.
    download : bool
        Offer the file.
    height : int, optional
        [px].
    on_select : callable or "rerun", optional
        Makes rows selectable.
    whole : callable, optional
        Makes the rows of the file, when `rows` are only the first of them; called when somebody wants the file.
    total : int, optional
        Number of rows of the file.

    Returns
    -------
    object
        What ``st.dataframe`` returns.
    """
    all_rows = (
        rows if columns is None else rows[[c for c in columns if c in rows]].rename(columns=dict(columns))
    )
    shown, n = all_rows.head(SHOWN), len(rows) if total is None else total
    more: dict[str, Any] = {"height": height} if height else {}
    if on_select:
        more |= {"on_select": on_select, "selection_mode": "single-row"}
    event = st.dataframe(shown, hide_index=True, width="stretch", key=key, column_config=config, **more)
    if download and n > len(shown):
        st.caption(f"The first {len(shown):,} rows are shown; the file has all {n:,}.")
    if download and len(shown):
        download_csv(whole or all_rows, key=f"{key} file", file_name=file_name)
    return event


def download_csv(
    rows: pd.DataFrame | Callable[[], pd.DataFrame],
    *,
    key: str,
    file_name: str,
    label: str = "Download this table (CSV)",
) -> None:
    """Offer a table as a CSV file that a spreadsheet opens without running anything in it.

    The file is written when somebody wants it; `rows` may be what makes the table then.
    """

    def content() -> bytes:
        table = rows() if callable(rows) else rows
        text: str = escape_frame(table).to_csv(index=False, date_format="%Y-%m-%d")
        return text.encode("utf-8-sig")

    st.download_button(
        label,
        data=content,
        file_name=f"{file_name}.csv",
        mime="text/csv",
        key=key,
        icon=":material/download:",
        on_click="ignore",
    )


def method_sentence(text: str, *, label: str = "Method, to copy into a report") -> None:
    """Offer the method sentence for copying."""
    if text:
        with st.expander(label):
            st.code(text, language=None, wrap_lines=True)


def notes(lines: Any, *, title: str = "Before using this number") -> None:
    """List what a careful reader must know."""
    lines = [line for line in (lines or ()) if line]
    if lines:
        with st.container(border=True):
            st.markdown(f"**{title}**")
            st.markdown("\n".join(f"- {plain(line)}" for line in lines))


def caution(*texts: str) -> None:
    """Show cautions in one box: things that can hurt someone."""
    if len(texts) == 1:
        st.warning(plain(texts[0]), icon=":material/health_and_safety:")
    elif texts:
        st.warning("\n".join(f"- {plain(t)}" for t in texts), icon=":material/health_and_safety:")


def nothing_yet(what: str, fix: str) -> None:
    """Say that there is nothing here yet, and what would change that."""
    st.info(f"{what} {fix}", icon=":material/hourglass_empty:")


def trouble(what: str, fix: str) -> None:
    """Say that something went wrong, and what to do."""
    st.error(f"**{what}** {fix}", icon=":material/error:")


def error_box(error: FathomlightError) -> None:
    """Show an error with what, where, got, expected and fix."""
    lines = [f"**{plain(error.what[:1].upper() + error.what[1:])}.**"]
    for label, value in (("Where", error.where), ("Found", error.got), ("Expected", error.expected)):
        if value is not None and value != "":
            lines.append(f"{label}: {plain(str(value))}")
    if error.fix:
        lines.append(f"What to do: {plain(error.fix)}")
    st.error("  \n".join(lines), icon=":material/error:")


def date_column(label: str = "Date") -> Any:
    """Return a column of dates that read the same everywhere."""
    return st.column_config.DateColumn(label, format="D MMM YYYY")


def today_text(day: dt.date) -> str:
    """Return the day taken as today, in words."""
    from fathomlight.figures.shown import date_text

    return date_text(day)
