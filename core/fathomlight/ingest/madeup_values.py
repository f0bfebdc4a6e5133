"""The columns of values of a made-up recipe, and the columns that say something about them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fathomlight.ingest.guess import ColumnGuess, parameter_of_name
from fathomlight.ingest.meanings import ATTACHED
from fathomlight.ingest.proposal import Question
from fathomlight.ingest.recipe import plain_name
from fathomlight.model import Parameter

__all__ = ["long_values", "unit_question", "unread", "wide_values"]

_ON_BOTTOM = ("b", "y", "yes", "x", "true", "1", "vob", "bottom")
_NOT_ON_BOTTOM = ("n", "no", "false", "0", "-")
_KEYS: Mapping[str, str] = {
    "unit": "unit_column",
    "qualifier": "qualifier_column",
    "limit": "limit_column",
    "replicate": "replicate_column",
    "method": "method_column",
}


def unit_question(guess: ColumnGuess, key: str, choices: tuple[str, ...] = ()) -> Question:
    """Ask for the unit of a column."""
    sample = ", ".join(guess.sample[:3])
    return Question(
        text=f"What unit is {guess.header!r} in? Its values are like {sample}; {guess.unit} was assumed.",
        column=guess.header, choices=tuple(dict.fromkeys((guess.unit, *choices))), key=key,
    )  # fmt: skip


def _bottom_codes(guess: ColumnGuess) -> list[str]:
    """Return texts that say that the disc was on the bottom; empty when the column holds something else."""
    low = {s.casefold(): s for s in guess.sample}
    found = [text for key, text in low.items() if key in _ON_BOTTOM]
    if not found and all(key in _NOT_ON_BOTTOM for key in low):
        return [c for c in ("y", "yes", "x") if c not in low]
    return found


def _belongs(guess: ColumnGuess, values: Sequence[ColumnGuess]) -> int | None:
    """Return which column of values another one belongs to; None when that is not known."""
    if guess.of:
        return [g.header for g in values].index(guess.of)
    discs = [i for i, g in enumerate(values) if g.parameter == "secchi"]
    if guess.role == "bottom" and discs:
        return discs[0]
    return 0 if len(values) == 1 else None


def wide_values(guesses: Sequence[ColumnGuess], questions: list[Question]) -> list[dict[str, Any]]:
    """Return one table of values for every column of readings.

    Parameters
    ----------
    guesses : sequence of ColumnGuess
        Every column.
    questions : list of Question
        What must be asked is added to it.

    Returns
    -------
    list of dict
        As the recipe's ``values``.
    """
    values = [g for g in guesses if g.role == "value" and g.parameter]
    out = []
    for i, guess in enumerate(values):
        entry: dict[str, Any] = {"column": guess.header, "parameter": guess.parameter}
        if guess.unit_stated:
            entry["unit"] = guess.unit
            if guess.unit_in_file and guess.unit_in_file != guess.unit:
                entry["trust_unit"] = False
        mine = {g.role: g for g in guesses if g.role in ATTACHED and _belongs(g, values) == i}
        if not guess.unit_known and "unit" not in mine:
            entry["unit"] = guess.unit
            questions.append(unit_question(guess, f"values[{i}].unit"))
        entry |= {key: mine[role].header for role, key in _KEYS.items() if role in mine}
        if "bottom" in mine and "qualifier" not in mine:
            entry |= _on_bottom(mine["bottom"], f"values[{i}].on_bottom_codes", questions)
        out.append(entry)
    _number_repeated(out, questions)
    return out


def _on_bottom(bottom: ColumnGuess, key: str, questions: list[Question]) -> dict[str, Any]:
    codes = _bottom_codes(bottom)
    if not codes:
        return {}
    if not bottom.stated:
        text = f"In {bottom.header!r}, does {codes[0]!r} mean that the disc was seen on the bottom?"
        questions.append(Question(text=text, column=bottom.header, key=key))
    others = [s for s in bottom.sample if s not in codes]
    return {"qualifier_column": bottom.header, "on_bottom_codes": codes, "equal_codes": ["", *others]}


def _number_repeated(entries: list[dict[str, Any]], questions: list[Question]) -> None:
    """Number the columns of one parameter, and ask whether they are repeated readings."""
    names = [e["parameter"] for e in entries]
    for name in dict.fromkeys(n for n in names if names.count(n) > 1):
        for number, entry in enumerate((e for e in entries if e["parameter"] == name), start=1):
            entry["replicate"] = number
        questions.append(
            Question(text=f"Several columns are {name}: are they repeated readings?", key="values")
        )


def unread(guesses: Sequence[ColumnGuess], entries: Sequence[Mapping[str, Any]], long: bool) -> list[str]:
    """Return the columns of a made-up recipe that are not read, whatever they were taken for.

    Parameters
    ----------
    guesses : sequence of ColumnGuess
        Every column.
    entries : sequence of mapping
        The recipe's ``values``.
    long : bool
        One column names the parameters.

    Returns
    -------
    list of str
        Names, in the order of the file.
    """
    read = {v for e in entries for v in e.values() if isinstance(v, str)}
    loose = (*ATTACHED, "value", *(() if long else ("parameter",)))
    return [
        g.header
        for g in guesses
        if g.header and (g.role == "unknown" or (g.role in loose and g.header not in read))
    ]


def long_values(
    by_role: Mapping[str, ColumnGuess],
    guesses: list[ColumnGuess],
    rows: list[list[str]],
    parameters: Mapping[str, Parameter],
    questions: list[Question],
) -> list[dict[str, Any]]:
    """Return the one table of values of a file whose rows name their parameter.

    Parameters
    ----------
    by_role : mapping of str to ColumnGuess
        Role -> column.
    guesses : list of ColumnGuess
        Every column.
    rows : list of list of str
        First rows.
    parameters : mapping of str to Parameter
        What may be measured.
    questions : list of Question
        What must be asked is added to it.

    Returns
    -------
    list of dict
        One.
    """
    value = next(g for g in guesses if g.role == "value" and not g.parameter)
    entry: dict[str, Any] = {"column": value.header, "parameter_column": by_role["parameter"].header}
    if "unit" in by_role:
        entry["unit_column"] = by_role["unit"].header
    at, unit_at = (
        guesses.index(by_role["parameter"]),
        guesses.index(by_role["unit"]) if "unit" in by_role else None,
    )
    units = {
        row[at].strip(): row[unit_at].strip() if unit_at is not None else ""
        for row in rows
        if row[at].strip()
    }
    meant = {text: parameter_of_name(plain_name(text), parameters, unit) for text, unit in units.items()}
    entry["parameters"] = {text: name for text, name in meant.items() if name}
    if entry["parameters"]:
        listed = ", ".join(f"{text} = {parameters[name].label}" for text, name in entry["parameters"].items())
        questions.append(
            Question(
                text=f"Do these mean: {listed}?",
                column=by_role["parameter"].header,
                key="values[0].parameters",
            )
        )
    for text in (t for t, name in meant.items() if not name):
        questions.append(
            Question(
                text=f"What is {text!r}? It is not loaded unless you say.",
                column=by_role["parameter"].header,
                choices=("", *parameters),
                key="values[0].parameters",
            )
        )
    entry["skip_parameters"] = [t for t, name in meant.items() if not name]
    for role, key in (
        ("qualifier", "qualifier_column"),
        ("replicate", "replicate_column"),
        ("method", "method_column"),
        ("limit", "limit_column"),
    ):
        if role in by_role:
            entry[key] = by_role[role].header
    return [entry]
