"""Cells that a spreadsheet programme would run as formulas (OWASP, CSV Injection)."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.cells import escape_cell, escape_frame, unescape_cell


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_dangerous_starts_are_escaped(start):
    assert escape_cell(f"{start}SUM(A1)") == f"'{start}SUM(A1)"


@pytest.mark.parametrize("cell", ["-1.5", "+2", "-1e-3", "<0.5", "H-2", "", "'tis", 3.0, None, True])
def test_numbers_and_plain_texts_are_left_alone(cell):
    assert escape_cell(cell) == cell


@given(st.text(st.sampled_from("'=+-@\t\r\na1. "), max_size=8))
def test_escaping_can_be_undone_and_leaves_nothing_dangerous(text):
    escaped = escape_cell(text)
    assert unescape_cell(escaped) == text
    if escaped[:1] in "=+-@\t\r\n" and escaped:
        float(escaped)  # only plain numbers may begin so


def test_whole_tables():
    frame = pd.DataFrame({"=a": ["=1", "ok"], "n": [-1.0, 2.0], "c": pd.Categorical(["@x", "y"])})
    out = escape_frame(frame)
    assert out.columns.tolist() == ["'=a", "n", "c"]
    assert out["'=a"].tolist() == ["'=1", "ok"]
    assert out["c"].tolist() == ["'@x", "y"]
    assert out["n"].tolist() == [-1.0, 2.0]
    assert frame["=a"].tolist() == ["=1", "ok"]
