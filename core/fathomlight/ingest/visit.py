"""One visit, as the form takes it: the same row that template and field sheet hold."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.ingest.read import read_rows
from fathomlight.ingest.result import ReadResult
from fathomlight.ingest.template import AID, DISC_UP, ON_BOTTOM, SKY, WIND, template_recipe, visit_columns
from fathomlight.model import Parameter, Station

__all__ = ["Visit", "visit_row", "visit_to_readings"]


@dataclass(frozen=True, kw_only=True)
class Visit:
    """What one person read at one station. Texts as typed; an empty text was not read.

    Attributes
    ----------
    station : str
        Id, name or alias.
    date : datetime.date or str
        Local date.
    time : datetime.time or str or None
        Local clock time; None or empty when unknown.
    disc_down, disc_up : str or float or None
        Depth where the disc disappeared going down, and where it came back; their mean is the reading.
    on_bottom : bool
        The disc was still seen on the bottom: the reading becomes ``>``.
    disc_unit : str
        Unit of both disc depths, unless written behind them.
    view_aid, wind, sky : str
        As chosen; the view aid becomes the method of the disc reading, wind and sky its note.
    values : mapping of str to (str or float)
        Other parameters by name -> number, with its unit behind it or in ``units``.
    units : mapping of str to str
        Parameter -> unit; the canonical one when left out.
    depth_m : float
        Depth of the other readings [m].
    replicate : int
        1 unless the visit repeats another.
    """

    station: str
    date: dt.date | str
    time: dt.time | str | None = None
    disc_down: str | float | None = None
    disc_up: str | float | None = None
    on_bottom: bool = False
    disc_unit: str = "m"
    view_aid: str = ""
    wind: str = ""
    sky: str = ""
    values: Mapping[str, str | float] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    depth_m: float = 0.0
    replicate: int = 1


def _with_unit(value: str | float | None, unit: str) -> str:
    text = "" if value is None else str(value).strip()
    bare = text.lstrip("<>=≤≥ ").replace(",", ".")
    try:
        float(bare)
    except ValueError:
        return text
    return f"{text} {unit}" if text and unit else text


def visit_row(visit: Visit, parameters: Mapping[str, Parameter]) -> dict[str, str]:
    """Turn a visit into a row of the template.

    Parameters
    ----------
    visit : Visit
        As typed.
    parameters : mapping of str to Parameter
        What may be measured.

    Returns
    -------
    dict of str to str
        Column name -> text.

    Raises
    ------
    ArgumentError
        A value names a parameter that the form does not take.
    """
    columns = {c.parameter: c for c in visit_columns(parameters) if c.parameter}
    stray = [name for name in visit.values if name not in columns]
    if stray:
        raise ArgumentError(
            "values", "the visit form does not take this parameter", got=stray, expected=", ".join(columns)
        )
    time = visit.time.strftime("%H:%M") if isinstance(visit.time, dt.time) else (visit.time or "")
    row = {
        "Station": visit.station,
        "Date": str(visit.date),
        "Time": time,
        ON_BOTTOM: "yes" if visit.on_bottom else "",
        AID: visit.view_aid,
        WIND: visit.wind,
        SKY: visit.sky,
        "Depth of these readings": f"{visit.depth_m:g} m",
        "Replicate": str(visit.replicate),
    }
    for name, column in columns.items():
        unit = visit.units.get(name, parameters[name].unit)
        if name == "secchi":
            row[column.header] = _with_unit(visit.disc_down, visit.disc_unit)
            row[DISC_UP] = _with_unit(visit.disc_up, visit.disc_unit)
        else:
            row[column.header] = _with_unit(visit.values.get(name), unit)
    return row


def visit_to_readings(
    visit: Visit,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
) -> ReadResult:
    """Check one visit and turn it into readings.

    Parameters
    ----------
    visit : Visit
        As typed.
    parameters, stations, past, possible, now
        As for :func:`~fathomlight.ingest.read_file`.

    Returns
    -------
    ReadResult
        ``frame`` with the readings, ``refused`` with every field that cannot be used and why, ``doubts``
        with fields that are kept but should be looked at (another unit? deeper than the bottom? up and down
        far apart?).

    Raises
    ------
    ArgumentError
        A value names a parameter that the form does not take.
    """
    row = visit_row(visit, parameters)
    return read_rows(
        [row], template_recipe(parameters, stations), parameters=parameters, stations=stations, past=past,
        possible=possible, now=now, file="visit form",
    )  # fmt: skip
