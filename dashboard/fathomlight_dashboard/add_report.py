"""What checking a file or a visit found, in words and tables."""

from __future__ import annotations

from typing import Any

import streamlit as st

from fathomlight_dashboard import widgets

REFUSED_WORDS = {
    "line": "Line",
    "column": "Column",
    "value": "Value",
    "reason": "Why it is refused",
    "remedy": "What to do",
    "row_text": "The row",
}
"""Columns of refused rows, with the words at their top."""


def counts_line(report: Any) -> str:
    """Return how many values are new, known, correcting and refused."""
    parts = (
        ("new", report.n_new),
        ("known already", report.n_known),
        ("replacing an older value", report.n_corrected),
        ("refused", report.n_refused),
    )
    return " · ".join(f"**{n:,}** {word}" for word, n in parts)


def show_refused(report: Any, *, key: str, file_name: str) -> None:
    """Show what cannot be used, and what is kept but odd.

    Parameters
    ----------
    report : CheckReport or ReadResult
        With ``refused`` and ``doubts``.
    key : str
        Key of the tables.
    file_name : str
        Name of the downloads.
    """
    if len(report.refused):
        st.markdown("**Refused: correct these and try again**")
        widgets.table(report.refused, key=f"{key} refused", file_name=file_name, columns=REFUSED_WORDS)
    if len(report.doubts):
        st.markdown("**Kept, but look at these**")
        words = {**REFUSED_WORDS, "reason": "What is odd"}
        widgets.table(report.doubts, key=f"{key} doubts", file_name=f"{file_name}-doubts", columns=words)
