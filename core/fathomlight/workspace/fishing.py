"""Fish surveys, and what clarity has to do with the catch."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from fathomlight.errors import NotFoundError
from fathomlight.fish import (
    DEFAULT_WINDOWS,
    ClarityEffect,
    Growth,
    MatchResult,
    SizeStructure,
    YearlyIndex,
    catch_table,
    clarity_effect,
    condition_table,
    find_species,
    gear_key,
    linkage_table,
    match_readings,
    removal_table,
    size_structure,
    size_table,
    species_key,
    von_bertalanffy,
    yearly_index,
)
from fathomlight.model import MEASURED
from fathomlight.workspace.looking import Looking

LINKED = ("secchi", "temperature")


class Fishing(Looking):
    """Surveys, catch, sizes, and the linkage with clarity."""

    def surveys(self, water: str | None = None, gear: str | None = None) -> pd.DataFrame:
        """Return fish surveys (:data:`~fathomlight.model.SURVEY_COLUMNS`), oldest first."""
        where = None if water is None else self.water(water).id
        table = self.remember(("surveys",), self.store.surveys)
        chosen = table if where is None else table[table["water"] == where]
        if gear is not None:
            key = gear_key(gear)
            chosen = chosen[[gear_key(g) == key for g in chosen["gear"]]]
        return chosen.sort_values(["start", "survey"], ignore_index=True)

    def catches(self) -> pd.DataFrame:
        """Return counts (:data:`~fathomlight.model.CATCH_COLUMNS`); an absent species was not caught."""
        return self.remember(("catches",), self.store.catches)

    def fish(self) -> pd.DataFrame:
        """Return measured fish (:data:`~fathomlight.model.FISH_COLUMNS`)."""
        return self.remember(("fish",), self.store.fish)

    def survey_species(self) -> list[str]:
        """Return the species that were caught at least once, by key."""
        return sorted({species_key(s) for s in self.catches()["species"].unique()})

    def survey_gears(self) -> list[str]:
        """Return the gears that were used, by key."""
        return sorted({gear_key(g) for g in self.surveys()["gear"].unique()})

    def catch_per_effort(
        self, species: str | None = None, gear: str | None = None, *, by: Sequence[str] = ("water", "year")
    ) -> pd.DataFrame:
        """Return catch per effort with intervals, zeros kept, gears and effort units never pooled.

        Parameters
        ----------
        species, gear : str, optional
            All when left out.
        by : sequence of str
            Any of water, year, station.

        Returns
        -------
        pandas.DataFrame
            See :func:`fathomlight.fish.catch_table`.
        """
        key = (species, gear, tuple(by))
        return self.remember(
            ("cpe", *key), lambda: catch_table(self.surveys(gear=gear), self.catches(), species, by=tuple(by))
        )

    def yearly_catch(self, species: str, gear: str) -> YearlyIndex:
        """Return the yearly index of catch from a count model with year and water effects."""
        return self.remember(
            ("yearly", species, gear),
            lambda: yearly_index(self.surveys(), self.catches(), species, gear=gear),
        )

    def matched_surveys(self, parameter: str = "secchi") -> MatchResult:
        """Match every survey with the readings of its water, in three declared windows.

        Parameters
        ----------
        parameter : str
            What stands for clarity.

        Returns
        -------
        fathomlight.fish.MatchResult
            The matched table with counts and distances, and the unmatched surveys with reasons.
        """
        what = self.parameter(parameter).name

        def make() -> MatchResult:
            names = [p for p in dict.fromkeys((what, *LINKED)) if p in self.parameters]
            places = {s.id: s.water for s in self.stations.values()}
            return match_readings(
                self.surveys(), self.readings(parameter=names, columns=("station", "parameter", *MEASURED)),
                stations=places, parameter=what, also=tuple(n for n in names if n == "temperature"),
            )  # fmt: skip

        return self.remember(("matched", what), make)

    def linkage(
        self, species: str, gear: str, *, window: str | None = None, parameter: str = "secchi"
    ) -> pd.DataFrame:
        """Return matched surveys of one gear with the zero-filled catch of one species."""
        match = self.matched_surveys(parameter)
        names = [w.name for w in match.windows]
        if window is not None and window not in names:
            raise NotFoundError("there is no such window", got=window, expected=f"one of {', '.join(names)}")
        return linkage_table(match, self.catches(), species, window=window, gear=gear)

    def windows(self) -> list[str]:
        """Return the names of the windows in which readings are matched with surveys."""
        return [w.name for w in DEFAULT_WINDOWS]

    def clarity_effect(
        self,
        species: str = "walleye",
        gear: str = "gill net",
        *,
        window: str | None = None,
        parameter: str = "secchi",
    ) -> ClarityEffect:
        """Relate the catch of a species in a gear to the clarity of its water.

        Parameters
        ----------
        species, gear : str
            One of each; gears are never pooled.
        window : str, optional
            Which readings belong to a survey; the first declared window when left out.
        parameter : str
            What stands for clarity.

        Returns
        -------
        fathomlight.fish.ClarityEffect
            Numbers, curve, checks, and sentences that say association.
        """
        what = self.parameter(parameter)

        def make() -> ClarityEffect:
            table = self.linkage(species, gear, window=window, parameter=what.name)
            return clarity_effect(
                table,
                species=species_key(species),
                gear=gear_key(gear),
                label=what.label.lower(),
                unit=what.unit,
            )

        return self.remember(("effect", species, gear, window, what.name), make)

    def sizes(self, species: str, *, water: str | None = None, gear: str | None = None) -> SizeStructure:
        """Return proportional size structure of a species, with intervals."""
        chosen = self._measured(species, water, gear)
        return size_structure(chosen["length_mm"].dropna(), find_species(species))

    def _measured(self, species: str, water: str | None, gear: str | None) -> pd.DataFrame:
        surveys = self.surveys(water, gear)
        table = self.fish()
        keys = {s: species_key(s) for s in table["species"].unique()}
        wanted = species_key(species)
        return table[table["survey"].isin(surveys["survey"]) & (table["species"].map(keys) == wanted)]

    def measured_fish(
        self, species: str, *, water: str | None = None, gear: str | None = None
    ) -> pd.DataFrame:
        """Return the measured fish of a species with survey, year, water and relative weight.

        Parameters
        ----------
        species : str
            Any of its names.
        water, gear : str, optional
            All when left out.

        Returns
        -------
        pandas.DataFrame
            :data:`~fathomlight.model.FISH_COLUMNS`, ``year``, ``water``, ``gear`` and ``relative_weight`` [%], NaN
            outside the range of the standard-weight equation.
        """
        import warnings

        from fathomlight.errors import OutOfRangeWarning
        from fathomlight.fish import relative_weight

        table = self._measured(species, water, gear).merge(
            self.surveys()[["survey", "water", "gear", "start"]], on="survey"
        )
        table["year"] = table["start"].dt.year
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", OutOfRangeWarning)
            table["relative_weight"] = relative_weight(
                table["length_mm"].to_numpy(), table["weight_g"].to_numpy(), find_species(species)
            )
        return table.drop(columns="start")

    def removals(self, species: str) -> pd.DataFrame:
        """Return removal estimates of a species for every survey with two passes or more.

        Parameters
        ----------
        species : str
            Any of its names.

        Returns
        -------
        pandas.DataFrame
            See :func:`fathomlight.fish.removal_table`; where the catches do not deplete, ``refused`` says so.
        """
        return self.remember(
            ("removals", species), lambda: removal_table(self.surveys(), self.catches(), species)
        )

    def size_table(self, species: str, *, by: Sequence[str] = ("water", "year")) -> pd.DataFrame:
        """Return proportional size structure by gear and whatever is asked for (``fathomlight.fish.size_table``)."""
        key = ("sizes", species, tuple(by))
        return self.remember(key, lambda: size_table(self.surveys(), self.fish(), species, by=tuple(by)))

    def condition_table(self, species: str, *, by: Sequence[str] = ("water",)) -> pd.DataFrame:
        """Return mean relative weight by length category (``fathomlight.fish.condition_table``)."""
        key = ("condition", species, tuple(by))
        return self.remember(key, lambda: condition_table(self.surveys(), self.fish(), species, by=tuple(by)))

    def growth(self, species: str, *, water: str | None = None) -> Growth:
        """Fit von Bertalanffy's curve to the aged fish of a species."""
        fish = self._measured(species, water, None).dropna(subset=["age_years", "length_mm"])
        return von_bertalanffy(fish["age_years"], fish["length_mm"])
