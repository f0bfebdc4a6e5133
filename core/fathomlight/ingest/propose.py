"""Propose how a file is to be read. A proposal is shown and confirmed; it is never applied silently."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from fathomlight.errors import ArgumentError, FathomlightError, RecipeError
from fathomlight.ingest.guess import guess_column
from fathomlight.ingest.isolated import peek_isolated
from fathomlight.ingest.madeup import make_up
from fathomlight.ingest.meanings import ColumnMeaning
from fathomlight.ingest.opening import check_size
from fathomlight.ingest.peek import Peek, peek_here
from fathomlight.ingest.proposal import Proposal, Question
from fathomlight.ingest.read import moment, read_rows
from fathomlight.ingest.recipe import Recipe, plain_name
from fathomlight.ingest.result import ReadLimits
from fathomlight.ingest.template import TEMPLATE_MARK, template_recipe
from fathomlight.ingest.text import find_header, wanted_names
from fathomlight.model import Parameter, Station

__all__ = ["Proposal", "Question", "propose_recipe", "restate"]


def propose_recipe(
    path: str | Path,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    *,
    recipes: Mapping[str, Recipe] | None = None,
    columns: Mapping[str, ColumnMeaning] | None = None,
    limits: ReadLimits | None = None,
    sheet: str | None = None,
    now: dt.datetime | None = None,
) -> Proposal:
    """Propose a recipe from the header and the first rows of a file. Nothing is read into readings or stored.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    parameters : mapping of str to Parameter
        What may be measured.
    stations : sequence of Station
        Where.
    recipes : mapping of str to Recipe, optional
        Ready recipes; one that fits the file without doubt is proposed as it is.
    columns : mapping of str to ColumnMeaning, optional
        Column -> what a person says it is; then no ready recipe is looked for, even if the mapping is empty.
    limits : ReadLimits, optional
        The file is looked at in a process of its own.
    sheet : str, optional
        Sheet of a workbook.
    now : datetime.datetime, optional
        The present.

    Returns
    -------
    Proposal
        Recipe, confidence and questions.

    Raises
    ------
    UnreadableFileError, UnsafeFileError
        The file cannot be looked at.
    RecipeError
        Nothing in it looks like a table.
    ArgumentError
        The file has no such column, or a meaning does not exist.
    """
    limits = limits or ReadLimits()
    check_size(Path(path), limits)
    look = peek_here if limits.isolate == "never" else peek_isolated
    peek = look(Path(path), limits, sheet)
    present = moment(now)
    if columns is None and _is_template(peek):
        recipe = template_recipe(parameters, stations)
        header, sample = _sample(peek, recipe)
        return Proposal(
            recipe=recipe, certain=True, confidence=1.0, ready=recipe.name, header=header, sample=sample
        )
    ready = _ready(peek, recipes or {}, parameters, stations, now) if columns is None else None
    if ready is not None:
        return ready
    if not peek.records:
        raise RecipeError(
            "no ready recipe reads this kind of file", where=peek.name, got=peek.kind,
            fix="Add a recipe with file.format to config/recipes.",
        )  # fmt: skip
    return make_up(peek, parameters, stations, present, columns)


def restate(
    proposal: Proposal,
    columns: Mapping[str, ColumnMeaning],
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    *,
    now: dt.datetime | None = None,
) -> Proposal:
    """Make a proposal again with what a person says its columns are; the file is not opened again.

    Parameters
    ----------
    proposal : Proposal
        Made up, not one of a ready recipe.
    columns : mapping of str to ColumnMeaning
        Column -> what it is; the others are guessed.
    parameters : mapping of str to Parameter
        What may be measured.
    stations : sequence of Station
        Where.
    now : datetime.datetime, optional
        The present.

    Returns
    -------
    Proposal
        With ``problems`` and without a recipe while the columns contradict themselves.

    Raises
    ------
    ArgumentError
        The proposal is one of a ready recipe; or as for :func:`propose_recipe`.
    """
    if proposal.peek is None:
        raise ArgumentError("proposal", "a ready recipe says what the columns are", got=proposal.ready)
    return make_up(proposal.peek, parameters, stations, moment(now), columns)


def _is_template(peek: Peek) -> bool:
    return any(TEMPLATE_MARK in cell for record in peek.records[:3] for cell in record.cells[:2])


# -- ready recipes -------------------------------------------------------------------------------------


def _sample(peek: Peek, recipe: Recipe, most: int = 50) -> tuple[tuple[str, ...], tuple[dict[str, str], ...]]:
    header, last = find_header(peek.records, recipe, peek.name)
    begin = max(last, recipe.file.unit_row or 0)
    comment = recipe.file.comment
    rows = [
        dict(zip(header, [*r.cells, *[""] * len(header)], strict=False))
        for r in peek.records
        if r.first > begin and any(r.cells) and not (comment and r.cells[0].startswith(comment))
    ]
    return header, tuple(rows[:most])


def _required(recipe: Recipe) -> list[tuple[str, ...]]:
    """Columns that must be there."""
    if recipe.kind in ("readings", "profiles"):
        time, station = recipe.time, recipe.station
        groups = [time.column or time.year_column or time.day_number_column]
        groups += [station.column] if station.column else [(c,) for c in station.columns]
        long = [part for part in recipe.values if not part.parameter]
        groups += [part.column for part in recipe.values if part.required or long]
        return [*groups, *[part.parameter_column or part.parameter_columns[:1] for part in long]]
    part = recipe.fields
    wanted = {
        "surveys": (part.survey, part.gear, part.start),
        "catch": (part.survey, part.species, part.count),
        "fish": (part.survey, part.species),
    }[recipe.kind]
    return [names for names in wanted if names]


def _score(peek: Peek, recipe: Recipe) -> tuple[float, int]:
    """Share of the file's columns that the recipe knows, and how many; 0 when a needed column is missing."""
    try:
        header, _ = find_header(peek.records, recipe, peek.name)
    except FathomlightError:
        return 0.0, 0
    plain = {plain_name(h) for h in header if h}
    for names in _required(recipe):
        if not any(plain_name(n) in plain for n in names):
            return 0.0, 0
    if recipe.values and not any(plain_name(n) in plain for part in recipe.values for n in part.column):
        return 0.0, 0
    known = wanted_names(recipe) | {plain_name(n) for n in (*recipe.not_imported, *recipe.leave_out)}
    both = plain & known
    return len(both) / max(len(plain), 1), len(both)


def _ready(
    peek: Peek,
    recipes: Mapping[str, Recipe],
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    now: dt.datetime | None,
) -> Proposal | None:
    if peek.kind == "netcdf":
        fitting = [r for r in recipes.values() if r.file.format == "netcdf"]
        if len(fitting) == 1:
            return Proposal(recipe=fitting[0], certain=True, confidence=0.9, ready=fitting[0].name)
        return None
    scores = {
        name: _score(peek, recipe)
        for name, recipe in recipes.items()
        if recipe.file.format in ("auto", peek.kind)
    }
    best = max(scores.values(), default=(0.0, 0))
    if best[0] < 0.7:
        return None
    names = [n for n, s in scores.items() if s == best]
    recipe = recipes[names[0]]
    header, sample = _sample(peek, recipe)
    refused = _refused_share(recipe, sample, parameters, stations, now)
    notes = [f"fits the ready recipe {names[0]}: {best[1]} of {len(header)} columns are known to it"]
    questions: list[Question] = []
    if len(names) > 1:
        questions.append(Question(text="Which recipe?", choices=tuple(names), key="recipe"))
    elif refused > 0.5:
        questions.append(
            Question(
                text=(
                    f"{refused:.0%} of the first rows would be refused by recipe {names[0]}. Is it "
                    f"the right one?"
                )
            )
        )
    elif best[0] < 1.0:
        known = wanted_names(recipe) | {plain_name(n) for n in (*recipe.not_imported, *recipe.leave_out)}
        unknown = [h for h in header if h and plain_name(h) not in known]
        measured = [h for h in unknown if _looks_measured(h, parameters)]
        notes.append("columns that the recipe does not read: " + ", ".join(unknown))
        if measured:
            questions.append(
                Question(
                    text=f"Recipe {names[0]} does not read {', '.join(measured)}. Leave it out?",
                    column=measured[0],
                )
            )
    return Proposal(
        recipe=recipe,
        certain=not questions,
        confidence=round(best[0] * (1 - refused), 3),
        questions=tuple(questions),
        ready=names[0],
        header=header,
        sample=sample[:10],
        notes=tuple(notes),
    )


def _looks_measured(header: str, parameters: Mapping[str, Parameter]) -> bool:
    guess = guess_column(header, "", ["1", "2"], parameters, 0.0, np.datetime64("2000-01-01", "us"))
    return guess.role == "value"


def _refused_share(
    recipe: Recipe,
    sample: Sequence[Mapping[str, str]],
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    now: dt.datetime | None,
) -> float:
    """Share of the first rows that the recipe would refuse; 0 when it cannot be tried on rows alone."""
    if not sample or recipe.kind not in ("readings", "profiles") or recipe.station.preamble:
        return 0.0
    try:
        got = read_rows(sample, recipe, parameters=parameters, stations=stations, now=now)
    except FathomlightError:
        return 1.0
    return min(1.0, got.refused["line"].nunique() / max(len(sample), 1))
