"""A proposed recipe and the questions a person must answer before it is used."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from fathomlight.errors import ArgumentError, RecipeError
from fathomlight.ingest.guess import ColumnGuess
from fathomlight.ingest.peek import Peek
from fathomlight.ingest.recipe import Recipe
from fathomlight.model import Result

__all__ = ["Proposal", "Question"]


@dataclass(frozen=True, kw_only=True)
class Question(Result):
    """What a person must say before a proposal is used.

    Attributes
    ----------
    text : str
        The question.
    column : str
        The column it is about; empty for the whole file.
    choices : tuple of str
        Possible answers, the proposed one first; empty when it is free.
    key : str
        Key of the recipe that the answer sets, e.g. ``time.formats``.
    """

    text: str
    column: str = ""
    choices: tuple[str, ...] = ()
    key: str = ""

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, kw_only=True)
class Proposal(Result):
    """How a file may be read.

    Attributes
    ----------
    recipe : Recipe or None
        The proposal; None while there are ``problems``.
    certain : bool
        True only when a ready recipe, or the filled-in template, fits the file without doubt.
    confidence : float
        0 to 1.
    questions : tuple of Question
        What a person must answer; empty when certain.
    problems : tuple of str
        What keeps the columns from becoming readings (two dates, no value, ...), each with the way out.
    columns : tuple of ColumnGuess
        What each column was taken for.
    ready : str
        Name of the ready recipe that fits; empty when the recipe was made up.
    header : tuple of str
        Column names of the file.
    sample : tuple of dict
        First rows, column name -> text.
    notes : tuple of str
        What was left out or assumed.
    peek : Peek or None
        The beginning of the file, from which the recipe is made again when a person says what a column is.
    """

    recipe: Recipe | None
    certain: bool
    confidence: float
    questions: tuple[Question, ...] = ()
    problems: tuple[str, ...] = ()
    columns: tuple[ColumnGuess, ...] = ()
    ready: str = ""
    header: tuple[str, ...] = ()
    sample: tuple[dict[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    peek: Peek | None = field(default=None, repr=False, compare=False)

    def made(self) -> Recipe:
        """Return the recipe.

        Returns
        -------
        Recipe
            The proposal.

        Raises
        ------
        RecipeError
            There is none, because the columns contradict themselves; says why.
        """
        if self.recipe is None:
            raise RecipeError(
                "the columns of this file do not make readings yet",
                where=self.peek.name if self.peek else None,
                got=", ".join(h for h in self.header if h),
                fix=" ".join(self.problems),
            )
        return self.recipe

    def answered(self, answers: Mapping[str, Any], *, name: str | None = None) -> Recipe:
        """Return the recipe with a person's answers put in.

        Parameters
        ----------
        answers : mapping of str to object
            Key of a question -> answer: ``{"time.formats": "%d/%m/%Y", "values[0].unit": "ft"}``. Mappings
            (aliases, parameters) are added to what is there; ``station.fixed`` replaces the station
            columns.
        name : str, optional
            Name under which the recipe is kept.

        Returns
        -------
        Recipe
            Checked as any recipe is.

        Raises
        ------
        ArgumentError
            A key that no recipe has, or an answer that does not fit.
        RecipeError
            There is no recipe yet.

        Examples
        --------
        >>> entry = {"column": "Secchi", "parameter": "secchi"}
        >>> recipe = Recipe(name="x", station={"column": "s"}, time={"column": "d"}, values=[entry])
        >>> proposal = Proposal(recipe=recipe, certain=False, confidence=0.5)
        >>> proposal.answered({"values[0].unit": "ft", "time.zone": "UTC"}).values[0].unit
        'ft'
        """
        made = self.made()
        data = made.model_dump(exclude_defaults=True) | {"name": name or made.name}
        for key, answer in answers.items():
            if key == "station.fixed":
                data["station"] = {"fixed": answer}
            elif key and key != "recipe":
                _put(data, key, answer)
        try:
            return Recipe.model_validate(data)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            where = ".".join(str(part) for part in first["loc"])
            raise ArgumentError("answers", f"{where}: {first['msg']}", got=first.get("input")) from None

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data that JSON can hold."""
        recipe = self.recipe and (
            self.recipe.model_dump(mode="json", exclude_defaults=True) | {"name": self.recipe.name}
        )
        return {
            "recipe": recipe,
            "certain": self.certain,
            "confidence": self.confidence,
            "questions": [q.to_dict() for q in self.questions],
            "problems": list(self.problems),
            "columns": [
                {
                    "header": c.header,
                    "role": c.role,
                    "parameter": c.parameter,
                    "unit": c.unit,
                    "sample": list(c.sample),
                }
                for c in self.columns
            ],
            "ready": self.ready,
            "header": list(self.header),
            "notes": list(self.notes),
        }


def _put(data: dict[str, Any], key: str, answer: Any) -> None:
    """Set a nested key such as ``values[0].unit``."""
    place: Any = data
    parts = re.findall(r"[A-Za-z_]+|\[\d+\]", key)
    for i, part in enumerate(parts):
        last = i == len(parts) - 1
        if part.startswith("["):
            place = list(place) if isinstance(place, tuple) else place
            number = int(part[1:-1])
            if not isinstance(place, list) or number >= len(place) or last:
                raise ArgumentError("answers", "no such key in the recipe", got=key)
            place = place[number]
        elif last:
            old = place.get(part)
            place[part] = (
                {**old, **answer} if isinstance(old, dict) and isinstance(answer, Mapping) else answer
            )
        else:
            inner = place.setdefault(part, {})
            if isinstance(inner, tuple):
                inner = place[part] = list(inner)
            place = inner
