"""What every part of the workspace shares: configuration, store, the day taken as today, a small memory."""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, TypeVar, cast

import pandas as pd

from fathomlight.alerts import Rule
from fathomlight.config import Config, read_shorelines
from fathomlight.errors import FathomlightError, NotAllowedError, NotFoundError
from fathomlight.indices.habitat import Species
from fathomlight.ingest import Recipe, load_recipes
from fathomlight.model import Parameter, Station, Water
from fathomlight.seasons import SeasonScheme
from fathomlight.store import Store
from fathomlight.workspace.rights import EVERYTHING, Rights, Role

T = TypeVar("T")
B = TypeVar("B", bound="Base")
_REMEMBERED = 4096
_REMEMBERED_BYTES = 80_000_000
PERSONAL = ("who", "why", "seen_by", "seen_note", "row_text")
"""Columns that tell of people: addresses, remarks, and rows as somebody wrote them."""


class Base:
    """Configuration and store of one workspace; the other parts of :class:`Workspace` build on it."""

    def __init__(
        self,
        config: Config,
        store: Store,
        *,
        actor: str | None,
        as_of: dt.date | None,
        rights: Rights = EVERYTHING,
    ) -> None:
        self.config = config
        self.store = store
        self.actor = actor or ""
        self.rights = rights
        self._as_of = as_of or config.as_of
        self._memory: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
        self._sizes: dict[tuple[Any, ...], int] = {}
        self._making: dict[tuple[Any, ...], threading.RLock] = {}
        self._lock = threading.RLock()
        self._recipes: dict[str, dict[str, Recipe]] = {}
        self._borrowed = False

    # -- what the configuration says ----------------------------------------------------------------------

    @property
    def root(self) -> Path:
        """The folder of the workspace."""
        return self.config.root

    @property
    def name(self) -> str:
        """What the people of this workspace call it."""
        return self.config.name

    @property
    def invented(self) -> bool:
        """True when waters and readings are invented."""
        return self.config.invented

    @property
    def units(self) -> Literal["metric", "us"]:
        """``metric`` or ``us``: how values are shown; values are always kept in canonical units."""
        return self.config.units

    @property
    def as_of(self) -> dt.date:
        """The day taken as today."""
        return self._as_of or dt.datetime.now(dt.UTC).date()

    @property
    def parameters(self) -> Mapping[str, Parameter]:
        """Parameters by name."""
        return self.config.parameters

    @property
    def stations(self) -> Mapping[str, Station]:
        """Stations by id."""
        return self.config.stations

    @property
    def waters(self) -> Mapping[str, Water]:
        """Waters by id."""
        return self.config.waters

    @property
    def seasons(self) -> SeasonScheme:
        """The seasons of the year here."""
        return self.config.seasons

    @property
    def species(self) -> Mapping[str, Species]:
        """Light and temperature bands of sight-feeding fish, by key."""
        return self.config.species

    @property
    def rules(self) -> tuple[Rule, ...]:
        """The rules that ask for attention."""
        return self.config.rules

    @property
    def recipes(self) -> Mapping[str, Recipe]:
        """How files become readings, by recipe name."""
        if "all" not in self._recipes:
            self._recipes["all"] = load_recipes(self.root / "config" / "recipes")
        return self._recipes["all"]

    @property
    def data_version(self) -> int:
        """A number that grows with every change of what the store would answer."""
        return self.store.data_version()

    def shorelines(self) -> dict[str, Any]:
        """Return the shorelines as a GeoJSON FeatureCollection; features carry ``properties.water``."""
        return self.remember(("shorelines",), lambda: read_shorelines(self.config.shoreline))

    def parameter(self, name: str) -> Parameter:
        """Return one parameter, or say which there are."""
        return _look_up("parameter", name, self.parameters)

    def station(self, station: str) -> Station:
        """Return one station by id, name or alias, or say which there are."""
        if station in self.stations:
            return self.stations[station]
        folded = station.strip().casefold()
        for candidate in self.stations.values():
            if folded in {
                candidate.id.casefold(),
                candidate.name.casefold(),
                *map(str.casefold, candidate.aliases),
            }:
                return candidate
        return _look_up("station", station, self.stations)

    def water(self, water: str) -> Water:
        """Return one water, or say which there are."""
        return _look_up("water", water, self.waters)

    def stations_of(self, water: str) -> list[Station]:
        """Return the stations that lie in a water."""
        self.water(water)
        return [s for s in self.stations.values() if s.water == water]

    # -- memory -------------------------------------------------------------------------------------------

    def remember(self, key: tuple[Any, ...], make: Callable[[], T]) -> T:
        """Return what was made for this key at this data version, making it when it is new.

        Parameters
        ----------
        key : tuple
            Hashable; names the answer and its arguments.
        make : callable
            Makes the answer; it must not be changed by whoever receives it.

        Returns
        -------
        object
            The same object at every call until the store changes, or until other answers need its room.

        Notes
        -----
        At most 4096 answers and 80 MB of tables are held; what has not been asked for longest goes first, and
        what was made before the store changed goes at once. Of several who ask for the same at once, one makes
        it and the others wait.
        """
        full = (self.data_version, *key)
        with self._lock:
            if full in self._memory:
                return cast("T", self._touched(full))
            gate = self._making.setdefault(full, threading.RLock())
        with gate:
            with self._lock:
                if full in self._memory:
                    return cast("T", self._touched(full))
            try:
                made = make()
                self._keep(full[0], {key: (made, _size(made))})
            finally:
                with self._lock:
                    self._making.pop(full, None)
        return made

    def _touched(self, full: tuple[Any, ...]) -> Any:
        """Return what is held, and move it to the end of the queue of what has to go."""
        self._memory.move_to_end(full)
        self._sizes[full] = self._sizes.pop(full)  # in the same order
        return self._memory[full]

    def _keep(self, version: int, answers: Mapping[tuple[Any, ...], tuple[Any, int]]) -> None:
        """Keep answers made at once, each with its size [bytes], at the data version taken before."""
        new = {(version, *key): answer for key, answer in answers.items()}
        with self._lock:
            for full, (made, size) in new.items():
                self._memory[full], self._sizes[full] = made, size
            for old in [k for k in self._memory if k[0] != version]:
                del self._memory[old], self._sizes[old]
            held = sum(self._sizes.values())
            for old in [k for k, size in self._sizes.items() if size and k not in new]:  # the oldest first
                if held <= _REMEMBERED_BYTES:
                    break
                held -= self._sizes.pop(old)
                del self._memory[old]
            while len(self._memory) > _REMEMBERED:
                oldest, _ = self._memory.popitem(last=False)
                del self._sizes[oldest]

    def remembered(self, key: tuple[Any, ...]) -> bool:
        """Return whether an answer is held for this key at this data version."""
        with self._lock:
            return (self.data_version, *key) in self._memory

    # -- people -------------------------------------------------------------------------------------------

    def acting_as(self: B, actor: str, rights: Rights) -> B:
        """Return this workspace as one person may use it.

        Parameters
        ----------
        actor : str
            Who is at work; kept with what is loaded, flagged, seen or withdrawn.
        rights : Rights
            What this person may do.

        Returns
        -------
        Workspace
            Shares configuration, store, memory and locks with this one, and is made in no time. Closing it
            does nothing: the store belongs to this one.
        """
        view = copy.copy(self)
        view.actor, view.rights, view._borrowed = actor, rights, True
        return view

    def require(self, least: Role, doing: str, waters: Iterable[str] = ()) -> None:
        """Refuse what the person at work may not do, and write the refusal down.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            See :meth:`Rights.require`.
        """
        try:
            self.rights.require(least, doing, waters)
        except NotAllowedError:
            with contextlib.suppress(FathomlightError):  # a store that cannot be written keeps no trail
                self.audit("refused", {"doing": doing, "role": self.rights.role})
            raise

    def audit(self, action: str, detail: dict[str, Any] | str = "") -> None:
        """Write down who did what, and in which role."""
        kept = {"role": self.rights.role, **detail} if isinstance(detail, dict) else detail
        self.store.audit(self.actor, action, kept)

    def without_people(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return a table without the names and remarks of others, unless the person at work is a reviewer.

        Parameters
        ----------
        table : pandas.DataFrame
            With any of the columns ``who``, ``why``, ``seen_by``, ``seen_note``, ``row_text``.

        Returns
        -------
        pandas.DataFrame
            The same rows; a volunteer still sees what is their own, by ``who``.
        """
        if self.rights.has("reviewer"):
            return table
        columns = [c for c in PERSONAL if c in table]
        own = pd.Series(False, index=table.index)
        if "who" in table and self.actor:
            own = table["who"].eq(self.actor)
        return table.assign(**{c: table[c].where(own, "") for c in columns}) if columns else table

    def close(self) -> None:
        """Close the store, unless it belongs to another (see :meth:`acting_as`)."""
        if not self._borrowed:
            self.store.close()

    def __enter__(self: T) -> T:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<Workspace {self.name!r} at {json.dumps(str(self.root))}>"


def _size(answer: Any) -> int:
    """Return about how much memory an answer takes, where it may be much [bytes]."""
    if isinstance(answer, pd.DataFrame):
        return int(answer.memory_usage(index=True).sum())
    return int(getattr(answer, "nbytes", 0))


def _look_up(kind: str, name: str, known: Mapping[str, T]) -> T:
    import difflib

    if name in known:
        return known[name]
    near = difflib.get_close_matches(name, known, n=1)
    raise NotFoundError(
        f"there is no {kind} of this name",
        got=name,
        expected=f"one of {', '.join(sorted(known))}",
        fix=f"Did you mean {near[0]}?" if near else None,
    )
