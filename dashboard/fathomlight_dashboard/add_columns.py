"""What every column of a file is: as it was taken, and as the reader says instead."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.errors import UnitError
from fathomlight.ingest import ROLE_WORDS, ColumnGuess, ColumnMeaning, Proposal
from fathomlight.ingest.meanings import ATTACHED
from fathomlight.units import parse_unit
from fathomlight_dashboard import widgets
from fathomlight_dashboard.add_asks import fitting_units

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

OTHER = {
    "depth": "Depth at which it was read",
    "value": "Measured value that another column names",
}
"""Words that differ from those for the role alone."""


def as_said(ws: Workspace, proposal: Proposal, mark: str) -> Proposal:
    """Show each column with what it was taken for, let it be changed, and return what follows.

    Parameters
    ----------
    ws : Workspace
        Knows parameters and stations.
    proposal : Proposal
        Made up from the file.
    mark : str
        Tells this file from others.

    Returns
    -------
    Proposal
        The same one when nothing was changed.
    """
    rows = [_row(ws, column, f"{mark} column {i}") for i, column in enumerate(proposal.columns)]
    kinds = [kind for kind, _ in rows]
    changed = any(kind != _kind(c) for kind, c in zip(kinds, proposal.columns, strict=True))
    said = {c.header: _meaning(kind) for kind, c in zip(kinds, proposal.columns, strict=True)}
    now = ws.restate(proposal, said) if changed else proposal
    values = [c.header for c in now.columns if c.role == "value"]
    for i, (column, (kind, place)) in enumerate(zip(now.columns, rows, strict=True)):
        more = _more(ws, column, values, f"{mark} more {i} {kind}", place)
        if more:
            changed = True
            said[column.header] = _meaning(kind, **more)
    return ws.restate(proposal, said) if changed else proposal


def _kind(column: ColumnGuess) -> str:
    """Role and parameter in one word, as the list of choices has them."""
    return f"value {column.parameter}" if column.role == "value" and column.parameter else column.role


def _meaning(kind: str, **more: str) -> ColumnMeaning:
    role, _, parameter = kind.partition(" ")
    if kind in ROLE_WORDS:
        role, parameter = kind, ""
    return ColumnMeaning(role, parameter=parameter, **more)


def _row(ws: Workspace, column: ColumnGuess, key: str) -> tuple[str, Any]:
    """Draw one column: name and first values, what it is; return that, and the place for its unit."""
    name, what, more = st.columns([4, 4, 3], vertical_alignment="center")
    first = "" if column.role == "not imported" else ", ".join(column.sample[:3])
    name.markdown(f"**{widgets.plain(column.header)}**" + (f"  \n{widgets.plain(first)}" if first else ""))
    options = _options(ws)
    kind: str = what.selectbox(
        f"What “{column.header}” is",
        list(options),
        index=list(options).index(_kind(column)),
        format_func=options.__getitem__,
        key=key,
        label_visibility="collapsed",
    )
    return kind, more


def _options(ws: Workspace) -> dict[str, str]:
    first = ("station", "date", "time", "depth")
    last = [r for r in ROLE_WORDS if r not in first]
    out = {r: OTHER.get(r, _capital(ROLE_WORDS[r])) for r in first}
    out |= {f"value {p.name}": p.label for p in ws.parameters.values()}
    return out | {r: OTHER.get(r, _capital(ROLE_WORDS[r])) for r in last}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _more(ws: Workspace, column: ColumnGuess, values: Sequence[str], key: str, place: Any) -> dict[str, str]:
    """Let the unit of a value, or the column that a qualifier belongs to, be chosen; return what was."""
    if column.role == "depth" or (column.role == "value" and column.parameter):
        canonical = ws.parameters[column.parameter].unit if column.parameter else "m"
        units = fitting_units(canonical)
        there = _symbol(column.unit) if column.unit_known else None
        if there is not None and there not in units:
            units = [there, *units]
        unit = place.selectbox(
            f"Unit of “{column.header}”",
            units,
            index=None if there is None else units.index(there),
            key=key,
            placeholder="Unit: asked below",
            label_visibility="collapsed",
        )
        return {} if unit is None or unit == there else {"unit": unit}
    if column.role in ATTACHED and len(values) > 1:
        of = place.selectbox(
            f"Which values “{column.header}” belongs to",
            list(values),
            index=None,
            key=key,
            format_func=lambda v: f"of {v}",
            placeholder="Of which column?",
            label_visibility="collapsed",
        )
        return {} if of is None else {"of": of}
    return {}


def _symbol(unit: str) -> str:
    try:
        return parse_unit(unit).symbol
    except UnitError:
        return unit
