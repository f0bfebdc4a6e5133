"""A proposed recipe and the questions a person must answer before it is used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fathomlight.ingest.guess import ColumnGuess
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
    recipe : Recipe
        The proposal.
    certain : bool
        True only when a ready recipe, or the filled-in template, fits the file without doubt.
    confidence : float
        0 to 1.
    questions : tuple of Question
        What a person must answer; empty when certain.
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
    """

    recipe: Recipe
    certain: bool
    confidence: float
    questions: tuple[Question, ...] = ()
    columns: tuple[ColumnGuess, ...] = ()
    ready: str = ""
    header: tuple[str, ...] = ()
    sample: tuple[dict[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data that JSON can hold."""
        recipe = self.recipe.model_dump(mode="json", exclude_defaults=True) | {"name": self.recipe.name}
        return {
            "recipe": recipe,
            "certain": self.certain,
            "confidence": self.confidence,
            "questions": [q.to_dict() for q in self.questions],
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
