"""The questions of a proposed recipe, each with its choices: what may be answered, and what an answer changes."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fathomlight.errors import UnitError
from fathomlight.figures.shown import date_text
from fathomlight.ingest import Proposal, Question, Recipe
from fathomlight.units import convert

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

BY_COLUMN_WORDS = "Say what each column is"
"""What the reader chooses instead of a recipe."""
YES, NO, NOT_LOADED = "yes", "no", ""
UNITS = ("m", "ft", "cm", "in", "degC", "degF", "NTU", "FNU", "ug/L", "mg/L", "uS/cm", "umol/m2/s", "%")
"""Units a reader may choose from, when they can be turned into that of the parameter."""


@dataclass(frozen=True)
class Ask:
    """One question with its choices.

    Attributes
    ----------
    text : str
        The question.
    words : mapping of str to str
        Answer -> what the reader sees, in the order shown. Nothing is chosen beforehand.
    change : callable
        Answer -> what it sets in the recipe, as ``Proposal.answered`` wants it.
    stop : mapping of str to str
        Answers after which the file cannot be read with this recipe -> what to do then.
    """

    text: str
    words: Mapping[str, str]
    change: Callable[[str], dict[str, Any]]
    stop: Mapping[str, str] = field(default_factory=dict)


def asks(ws: Workspace, proposal: Proposal) -> list[Ask]:
    """Return every question of a proposal with its choices.

    Parameters
    ----------
    ws : Workspace
        Knows stations and parameters.
    proposal : Proposal
        Not certain.

    Returns
    -------
    list of Ask
        At least one for each question.
    """
    out: list[Ask] = []
    for question in proposal.questions:
        out += _of(question, ws, proposal)
    return out


def _of(question: Question, ws: Workspace, proposal: Proposal) -> Sequence[Ask]:
    key = question.key
    if key == "time.formats":
        return [_dates(question, proposal)]
    if key.endswith(".unit"):
        return [_unit(question, ws, proposal)]
    if key.endswith(".on_bottom_codes"):
        return [_bottom(question)]
    if key == "station.aliases":
        return _aliases(question, ws, proposal)
    if key == "station.fixed":
        return [Ask(question.text, _stations(ws), lambda a: {key: a})]
    if key == "values":
        return [_repeated(question, proposal)]
    if key == "values[0].parameters":
        return _parameters(question, ws, proposal)
    if question.choices:
        known = {
            "replicates": "Yes, repeated readings of one visit",
            "as is": "No, leave them as they are",
            "station": "Local time at the station",
            "UTC": "UTC",
        }
        return [Ask(question.text, {c: known.get(c, c) for c in question.choices}, lambda a: {key: a})]
    if proposal.ready:
        stop = f"Choose “{BY_COLUMN_WORDS}” as the recipe above, or another recipe."
    else:
        stop = "Change above what is not right, then say yes here; or choose another recipe."
    return [Ask(question.text, {YES: "Yes", NO: "No"}, lambda a: {}, {NO: stop})]


def _dates(question: Question, proposal: Proposal) -> Ask:
    column = next((c for c in proposal.columns if c.header == question.column), None)
    sample = column.sample[0] if column is not None and column.sample else ""
    words = {c: f"{sample} is {read}" if (read := _read(sample, c)) else c for c in question.choices}
    return Ask(question.text, words, lambda a: {question.key: a})


def _read(text: str, pattern: str) -> str:
    try:
        day = dt.date.fromisoformat(text[:10]) if pattern == "iso" else dt.datetime.strptime(text, pattern)
    except ValueError:
        return ""
    return date_text(day)


def _unit(question: Question, ws: Workspace, proposal: Proposal) -> Ask:
    found = re.fullmatch(r"values\[(\d+)\]\.unit", question.key)
    name = proposal.made().values[int(found.group(1))].parameter if found else ""
    canonical = ws.parameters[name].unit if name in ws.parameters else "m"
    fitting = fitting_units(canonical)
    sample = next((c.sample[:3] for c in proposal.columns if c.header == question.column), ())
    text = f"What unit is “{question.column}” in?" + (
        f" Its values are like {', '.join(sample)}." if sample else ""
    )
    words = {u: u for u in dict.fromkeys([*question.choices, *fitting])}
    return Ask(text, words, lambda a: {question.key: a})


def fitting_units(canonical: str) -> list[str]:
    """Return the units that can be turned into the canonical one of a parameter.

    Examples
    --------
    >>> fitting_units("m"), fitting_units("NTU")
    (['m', 'ft', 'cm', 'in'], ['NTU'])
    """
    return [u for u in UNITS if _fits(u, canonical)]


def _fits(unit: str, canonical: str) -> bool:
    try:
        convert(1.0, unit, canonical)
    except UnitError:
        return False
    return True


def _bottom(question: Question) -> Ask:
    entry = question.key.removesuffix(".on_bottom_codes")

    def change(answer: str) -> dict[str, Any]:
        if answer == YES:
            return {}
        return {f"{entry}.qualifier_column": (), f"{entry}.on_bottom_codes": (), f"{entry}.equal_codes": ()}

    words = {YES: "Yes, the disc was seen on the bottom", NO: "No, leave that column unread"}
    return Ask(question.text, words, change)


def _stations(ws: Workspace) -> dict[str, str]:
    return {s.id: s.name for s in sorted(ws.stations.values(), key=lambda s: s.name)}


def _aliases(question: Question, ws: Workspace, proposal: Proposal) -> list[Ask]:
    texts = dict.fromkeys(row.get(question.column, "").strip() for row in proposal.sample)
    unknown = [t for t in texts if t and not _known(ws, t)]
    words = {**_stations(ws), NOT_LOADED: "None of these: its rows stay out"}
    if any(c.header == question.column and c.stated for c in proposal.columns):
        return [_alias(text, words, question.key) for text in unknown]
    stop = "Set another column to station above; a file of one station has none: set this one to ignored."
    first = Ask(
        f"Does “{question.column}” hold the station?", {YES: "Yes", NO: "No"}, lambda a: {}, {NO: stop}
    )
    return [first, *(_alias(text, words, question.key) for text in unknown)]


def _alias(text: str, words: Mapping[str, str], key: str) -> Ask:
    return Ask(f"Which station is “{text}”?", words, lambda a: {key: {text: a}} if a else {})


def _known(ws: Workspace, text: str) -> bool:
    names = (n for s in ws.stations.values() for n in (s.id, s.name, *s.aliases))
    return text.casefold() in {n.casefold() for n in names}


def _repeated(question: Question, proposal: Proposal) -> Ask:
    def change(answer: str) -> dict[str, Any]:
        if answer == YES:
            return {}
        data = proposal.made().model_dump(exclude_defaults=True)["values"]
        first = {entry["parameter"]: entry for entry in reversed(data)}
        kept = [e for e in data if first[e["parameter"]] is e]
        return {question.key: [{k: v for k, v in e.items() if k != "replicate"} for e in kept]}

    words = {YES: "Yes, repeated readings of one visit", NO: "No, read the first of them only"}
    return Ask(question.text, words, change)


def _parameters(question: Question, ws: Workspace, proposal: Proposal) -> list[Ask]:
    entry = proposal.made().values[0]
    guessed = {text: names[0] for text, names in entry.parameters.items()}
    if question.choices:  # one of the texts nobody knows; it stands in the question
        texts = [t for t in entry.skip_parameters if repr(t) in question.text]
        return [_parameter(t, "", ws, question.key) for t in texts[:1]]
    return [_parameter(t, n, ws, question.key) for t, n in guessed.items()]


def _parameter(text: str, guess: str, ws: Workspace, key: str) -> Ask:
    names = dict.fromkeys([*([guess] if guess else []), *ws.parameters])
    words = {n: f"{ws.parameters[n].label} [{ws.parameters[n].unit}]" for n in names if n in ws.parameters}
    return Ask(
        f"What is “{text}”?",
        {**words, NOT_LOADED: "Something else: do not load it"},
        lambda a: {key: {text: a}},
    )


def together(parts: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Join what several answers set; mappings under one key are joined too.

    Examples
    --------
    >>> together([{"a": {"x": 1}}, {"b": 2}, {"a": {"y": 3}}])
    {'a': {'x': 1, 'y': 3}, 'b': 2}
    """
    out: dict[str, Any] = {}
    for part in parts:
        for key, value in part.items():
            old = out.get(key)
            out[key] = {**old, **value} if isinstance(old, dict) and isinstance(value, dict) else value
    return out


def answered(proposal: Proposal, changes: Mapping[str, Any], name: str) -> Recipe:
    """Return the recipe with all answers put in.

    Parameters
    ----------
    proposal : Proposal
        What was proposed.
    changes : mapping
        Joined changes of every answer.
    name : str
        Name of the recipe.

    Returns
    -------
    Recipe
        Texts of a parameter column that were called something else are known and not wanted.
    """
    rest = dict(changes)
    texts = rest.pop("values[0].parameters", None)
    recipe = proposal.answered(rest, name=name)
    if texts is None:
        return recipe
    data = recipe.model_dump(exclude_defaults=True) | {"name": name}
    entry = dict(data["values"][0])
    meant = {**entry.get("parameters", {}), **texts}
    entry["parameters"] = {t: n for t, n in meant.items() if n}
    skipped = [*entry.get("skip_parameters", ()), *(t for t, n in meant.items() if not n)]
    entry["skip_parameters"] = tuple(t for t in dict.fromkeys(skipped) if t not in entry["parameters"])
    data["values"] = [entry, *data["values"][1:]]
    return Recipe.model_validate(data)
