"""What every rule has: its name, how much it matters, where and when it looks, and what it says."""

from __future__ import annotations

import re
import string
from typing import Annotated, Any, ClassVar, Literal

import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.sentence import Sentence, fill
from fathomlight.model import Station

Severity = Literal["note", "look", "act"]
"""``note``: worth knowing. ``look``: someone should look at it. ``act``: someone should do something."""

_WIDTH = re.compile(r"([<>^]?\d{1,2})?")
"""What may stand behind the colon of a field: a place and a width of two digits; anything else fails on a text."""

COMMON_FIELDS = ("station", "water", "parameter", "depth", "since", "count")
"""Fields that the message of every rule may use."""


class Rule(BaseModel):
    """Base of all rule kinds; one table ``[[rule]]`` of a rules file.

    Attributes
    ----------
    id : str
        Short name, small letters, digits and hyphens.
    kind : str
        Which kind of rule; each is a module of :mod:`fathomlight.alerts`.
    parameter : str
        What is watched.
    severity : {"note", "look", "act"}
    enabled : bool
        False leaves the rule out.
    stations, waters : tuple of str
        Where it looks; both empty means everywhere. A station of either list is watched.
    depth : (float, float) or None
        Depths watched [m]; None means each depth, each on its own.
    months : tuple of int
        Months of the date at the station in which it looks; empty means all year. An episode that is still
        going when the months end is over.
    stale_days : float
        Without any reading for so long [d] an episode is over, since nobody knows any more; ``inf`` keeps it open.
        For the kinds that look at readings (limit, percentile, rate).
    message : str
        Template with fields in braces; empty means the usual sentence of the kind.
    suspect : {"check", "ignore"}
        What a reading flagged suspect does: a quiet note to check the reading, or nothing. It never opens an
        episode of the rule itself.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    FIELDS: ClassVar[tuple[str, ...]] = ()
    USUAL: ClassVar[str] = "{parameter} at {station}"

    id: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
    kind: str
    parameter: str = ""
    severity: Severity = "look"
    enabled: bool = True
    stations: tuple[str, ...] = ()
    waters: tuple[str, ...] = ()
    depth: tuple[float, float] | None = None
    months: tuple[Annotated[int, Field(ge=1, le=12)], ...] = ()
    stale_days: Annotated[float, Field(gt=0)] = 90.0
    message: str = ""
    suspect: Literal["check", "ignore"] = "check"

    @field_validator("message")
    @classmethod
    def _fields_known(cls, text: str) -> str:
        allowed = COMMON_FIELDS + cls.FIELDS
        try:
            parts = [part for part in string.Formatter().parse(text) if part[1] is not None]
        except ValueError as error:
            raise ValueError(f"the message cannot be read: {error}; write {{{{ for a brace") from None
        if any(not _WIDTH.fullmatch(spec or "") or conversion for _, _, spec, conversion in parts):
            raise ValueError(
                "fields of a message are texts with their unit already: write {value}, at most with a width as in "
                "{value:>8}"
            )
        names = [str(name) for _, name, _, _ in parts]
        stray = [name for name in names if name not in allowed]
        if stray:
            raise ValueError(
                f"unknown field {{{stray[0]}}}; use {', '.join(f'{{{name}}}' for name in allowed)}"
            )
        return text

    @model_validator(mode="after")
    def _depth_order(self) -> Rule:
        if self.depth is not None and not 0 <= self.depth[0] <= self.depth[1]:
            raise ValueError("depth must be two depths in m, the shallower first")
        return self

    def watches(self, station: Station) -> bool:
        """Return whether this rule looks at a station.

        Parameters
        ----------
        station : Station

        Returns
        -------
        bool
        """
        if not self.stations and not self.waters:
            return True
        return station.id in self.stations or station.water in self.waters

    def say(self, context: Context, station: str, **fields: Any) -> Sentence:
        """Fill the message.

        Parameters
        ----------
        context : Context
            For the names of stations, waters and parameters.
        station : str
            Station id.
        **fields : str
            The other fields.

        Returns
        -------
        Sentence
            With its values, so that it can be told in other units.
        """
        known = context.stations.get(station)
        water = known.water if known else ""
        body = context.waters.get(water)
        parameter = context.parameters.get(self.parameter)
        names = {
            "station": known.name if known else station,
            "water": body.name if body else water,
            "parameter": parameter.label if parameter else self.parameter,
            "depth": "",
            "since": "",
            "count": "",
        }
        return fill(self.message or self.USUAL, {**names, **fields})

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes that the readings hold, open and over, oldest first.

        Parameters
        ----------
        readings : pandas.DataFrame
            Columns of :data:`fathomlight.model.READING_COLUMNS`, any order, any flags; the whole history,
            since an episode is found from the readings alone.
        context : Context
            Stations, parameters, and the instant taken as now.

        Returns
        -------
        list of Episode
        """
        raise NotImplementedError
