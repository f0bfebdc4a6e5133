"""From a linkage table to what a count model takes: rows kept, rows left out and why, covariates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fathomlight.errors import ArgumentError
from fathomlight.fish.species import species_key
from fathomlight.fish.yearly import one_gear
from fathomlight.model import EQUAL

Floats = NDArray[np.float64]
SURVEYS_PER_TERM = 10
"""Surveys asked for each term of a model (common practice, no single source)."""
_MOST_MISSING = 0.2


@dataclass
class LinkageData:
    """Surveys ready for the model.

    ``log2`` is log2 of clarity less ``centre`` [1]; ``covariates`` are centred (and, if numbers, scaled) so
    that the intercept is the catch at average conditions; ``used`` holds the rows behind them.
    """

    species: str
    gear: str
    effort_unit: str
    used: pd.DataFrame
    count: Floats
    effort: Floats
    clarity: Floats
    log2: Floats
    centre: float
    water: NDArray[np.object_]
    year: Floats
    covariates: Floats
    names: tuple[str, ...]
    bounds: int = 0
    left_out: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def n(self) -> int:
        """Surveys in use."""
        return int(self.count.size)

    @property
    def waters(self) -> int:
        """Different waters among them."""
        return int(np.unique(self.water).size)

    def design(self, *, hump: bool = False, extra: Sequence[Floats] = ()) -> Floats:
        """Constant, log2 clarity, its square when asked for, covariates, extra columns."""
        columns = [np.ones(self.n), self.log2]
        if hump:
            columns.append(self.log2**2)
        return np.column_stack([*columns, self.covariates, *extra])


def _single(table: pd.DataFrame, column: str, wanted: str | None) -> pd.DataFrame:
    """Keep one species or one window, or refuse to choose."""
    if column not in table:
        return table
    keys = table[column].map(species_key) if column == "species" else table[column]
    if wanted is not None:
        kept = table.loc[keys == (species_key(wanted) if column == "species" else wanted)]
        if kept.empty:
            raise ArgumentError(
                column, f"no row with this {column}", got=wanted, expected=", ".join(map(str, set(keys)))
            )
        return kept.reset_index(drop=True)
    kinds = sorted(map(str, keys.dropna().unique()))
    if len(kinds) > 1:
        raise ArgumentError(
            column,
            f"the table holds more than one {column}",
            got=", ".join(kinds),
            expected=f"one {column}",
            fix=f"Keep the rows of one {column}.",
        )
    return table


def _years_and_days(table: pd.DataFrame) -> pd.DataFrame:
    if "start" in table:
        start = pd.to_datetime(table["start"])
        if "year" not in table:
            table = table.assign(year=start.dt.year)
        if "day_of_year" not in table:
            table = table.assign(day_of_year=start.dt.day_of_year)
    return table if "year" in table else table.assign(year=math.nan)


def _keep(table: pd.DataFrame, clarity: str, use_bounds: bool, notes: list[str]) -> tuple[pd.DataFrame, int]:
    """Rows with catch, effort and a measured clarity; returns them and the number of bounds left out."""
    for column in ("count", "effort", clarity):
        values = pd.to_numeric(table[column])
        table = table.assign(**{column: values.astype(float)})
    if (table["effort"] <= 0).any():
        raise ArgumentError(
            "effort", "effort must be above zero; unknown is NaN", got=float(table["effort"].min())
        )
    if (table[clarity] <= 0).any():
        raise ArgumentError(clarity, "clarity must be above zero", got=float(table[clarity].min()))
    if (table["count"] < 0).any():
        raise ArgumentError("count", "a catch cannot be below zero", got=float(table["count"].min()))
    for column, what in (("count", "catch"), ("effort", "effort"), (clarity, "clarity")):
        lost = int((~np.isfinite(table[column])).sum())
        if lost:
            notes.append(f"{lost} surveys with unknown {what} were left out.")
        table = table[np.isfinite(table[column])]
    qualifier = f"{clarity}_qualifier"
    bounds = 0
    if qualifier in table:
        bound = table[qualifier].fillna(EQUAL) != EQUAL
        bounds = int(bound.sum())
        if bounds and use_bounds:
            notes.append(
                f"{bounds} clarities are bounds (disc on the bottom); the bound was taken as the value, as "
                f"asked."
            )
        elif bounds:
            notes.append(
                f"{bounds} surveys whose clarity is only a bound (disc on the bottom) were left out of the "
                f"model; "
                "leaving out by clarity does not bias an effect of clarity, but the curve says less of clear "
                "water."
            )
            table = table[~bound]
    return table.reset_index(drop=True), bounds


def _encode(
    table: pd.DataFrame, wanted: Sequence[str], room: int, notes: list[str]
) -> tuple[list[Floats], list[str]]:
    """Centred columns for the covariates there is room for."""
    columns: list[Floats] = []
    names: list[str] = []
    for name in wanted:
        values = table[name]
        if pd.api.types.is_numeric_dtype(values):
            sd = float(values.std())
            made = [] if not sd > 0 else [((values - values.mean()) / sd).to_numpy(dtype=float)]
        else:
            made = [
                (values == level).to_numpy(dtype=float) - float((values == level).mean())
                for level in sorted(map(str, values.unique()))[1:]
            ]
        if not made:
            notes.append(f"{name} does not vary among the surveys; it is not in the model.")
        elif len(columns) + len(made) > room:
            notes.append(f"Too few surveys to also allow for {name}; it is not in the model.")
        else:
            columns += made
            names.append(name)
    return columns, names


def _known(rows: pd.DataFrame, covariates: Sequence[str], notes: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Covariates known often enough, and the rows where they are known."""
    wanted = []
    for name in covariates:
        if name not in rows:
            continue
        missing = rows[name].isna()
        if missing.mean() > _MOST_MISSING:
            notes.append(
                f"{name} is unknown for {int(missing.sum())} of {len(rows)} surveys; it is not in the model."
            )
            continue
        if missing.any():
            notes.append(f"{int(missing.sum())} surveys without {name} were left out.")
            rows = rows[~missing].reset_index(drop=True)
        wanted.append(name)
    return rows, wanted


def prepare(
    table: pd.DataFrame,
    *,
    species: str | None,
    gear: str | None,
    clarity: str,
    covariates: Sequence[str],
    use_bounds: bool,
) -> LinkageData:
    """Check a linkage table and make the columns of the model.

    Parameters
    ----------
    table : pandas.DataFrame
        ``water``, ``gear``, ``effort``, ``count`` and the clarity column; optional columns as in
        :func:`fathomlight.fish.clarity_effect`.
    species, gear : str or None
        What to keep when the table holds several.
    clarity : str
        Column that stands for clarity.
    covariates : sequence of str
        Columns to allow for; absent ones are passed over.
    use_bounds : bool
        Take a bound as a value instead of leaving the survey out.

    Returns
    -------
    LinkageData
        The surveys in use, with notes.

    Raises
    ------
    ArgumentError
        Missing columns, several gears, effort units, species or windows, or impossible values.
    """
    needed = ("water", "gear", "effort", "count", clarity)
    absent = [name for name in needed if name not in table]
    if absent:
        raise ArgumentError("table", "columns are missing", got=", ".join(absent), expected=", ".join(needed))
    rows = _single(_single(table, "species", species), "window", None)
    rows, kind, unit = one_gear(rows, gear)
    if rows["water"].isna().any():
        raise ArgumentError(
            "water", "a survey without a water", got=int(rows["water"].isna().sum()), expected="0"
        )
    if "survey" in rows and rows["survey"].duplicated().any():
        raise ArgumentError(
            "table",
            "a survey stands there twice",
            got=rows.loc[rows["survey"].duplicated(), "survey"].iloc[0],
        )
    notes: list[str] = []
    before = len(rows)
    rows, bounds = _keep(_years_and_days(rows), clarity, use_bounds, notes)
    rows, wanted = _known(rows, covariates, notes)
    columns, names = _encode(rows, wanted, len(rows) // SURVEYS_PER_TERM - 2, notes)
    values = rows[clarity].to_numpy(dtype=float)
    log2 = np.log2(values)
    centre = float(np.median(log2)) if log2.size else 0.0
    kinds: list[str] = []
    if "species" in rows:
        kinds = list(rows["species"].map(species_key).unique())
    return LinkageData(
        species=str(kinds[0]) if len(kinds) else (species_key(species) if species else "fish"),
        gear=kind,
        effort_unit=unit or "unit of effort",
        used=rows,
        count=rows["count"].to_numpy(dtype=float),
        effort=rows["effort"].to_numpy(dtype=float),
        clarity=values,
        log2=log2 - centre,
        centre=centre,
        water=rows["water"].to_numpy(dtype=object),
        year=rows["year"].to_numpy(dtype=float),
        covariates=np.column_stack(columns) if columns else np.empty((len(rows), 0)),
        names=tuple(names),
        bounds=bounds,
        left_out=before - len(rows),
        notes=notes,
    )
