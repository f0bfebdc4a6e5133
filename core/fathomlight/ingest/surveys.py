"""Rows of text become fish surveys, catches and measured fish.

* A species without a row was not caught: no zero is written here, the fish layer makes it where it is needed.
* An empty effort is unknown (NaN). An effort of 0 is refused: nothing was fished, so nothing was surveyed.
* One file may hold surveys and catches (or fish) together: the survey's columns are then the same on each
  of its rows.
* Species are kept by common name in lower case; scientific names of the commoner predators are turned into
  it.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from fathomlight.errors import UnitError
from fathomlight.ingest.dates import date_remedy, parse_clocks, parse_dates
from fathomlight.ingest.instants import EARLIEST
from fathomlight.ingest.issues import Issues, concat_refused
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import plain_name
from fathomlight.ingest.survey_fields import FieldReader, species_name
from fathomlight.ingest.values import is_missing
from fathomlight.model import (
    CATCH_COLUMNS,
    FISH_COLUMNS,
    REFUSED_COLUMNS,
    SURVEY_COLUMNS,
    empty_frame,
)
from fathomlight.units import split_value_unit

__all__ = ["SurveyAssembler", "SurveyPiece"]


_NAT = np.datetime64("NaT", "us")
_DAY = np.timedelta64(86_400_000_000, "us")
_ZONED = re.compile(r"\d(Z|[+-]\d{2}:?\d{2})$", re.I)
_ABSENT = {"absent", "0", "false", "no"}


@dataclass(frozen=True, slots=True)
class SurveyPiece:
    """What one piece of a file of fish surveys gave."""

    surveys: pd.DataFrame
    catches: pd.DataFrame
    fish: pd.DataFrame
    refused: pd.DataFrame
    counts: dict[str, int]


@dataclass
class SurveyAssembler(FieldReader):
    """Turns raw tables of one file into surveys, catches and fish.

    Attributes
    ----------
    recipe : Recipe
        Of kind ``surveys``, ``catch`` or ``fish``.
    stations, waters : sequence
        What may be named.
    now : numpy.datetime64
        The present, UTC.
    """

    def read(self, table: RawTable) -> SurveyPiece:
        """Read one piece.

        Parameters
        ----------
        table : RawTable
            Rows of text.

        Returns
        -------
        SurveyPiece
            Tables of the model, refused rows, counts.

        Raises
        ------
        RecipeError
            A column that the recipe needs is not in the file.
        """
        self._check(table)
        issues = Issues(table, np.zeros(len(table), bool))
        filled = np.zeros(len(table), bool)
        for column in range(len(table.header)):
            coded = table.encoded(column)
            filled |= coded.spread(~is_missing(coded.texts, self.recipe.missing))
        issues.bad |= ~filled
        survey = self._text(table, "survey")
        rows = np.flatnonzero((survey == "") & filled)
        issues.add(
            rows, self._header(table, "survey"), [""] * len(rows), "no survey given", "Give the survey's id."
        )
        surveys = empty_frame(SURVEY_COLUMNS)
        catches, fish = empty_frame(CATCH_COLUMNS), empty_frame(FISH_COLUMNS)
        with_surveys = self.recipe.kind == "surveys" or self._has(table, "start")
        found = self._surveys(table, survey, issues) if with_surveys else None
        if self.recipe.kind == "catch":
            catches = self._catches(table, survey, issues)
        elif self.recipe.kind == "fish":
            fish = self._fish(table, survey, issues)
        if found is not None:
            surveys = self._once(table, found, issues)
        refused = concat_refused([issues.frame(), *_spoiled(table)])
        counts = {
            "rows": len(table) + len(table.spoiled), "surveys": len(surveys), "catches": len(catches),
            "fish": len(fish), "refused": len(refused), "empty_rows": int((~filled).sum()),
            "left_out": table.left_out, "doubts": 0, "blank": 0, "duplicates": 0,
        }  # fmt: skip
        return SurveyPiece(surveys, catches, fish, refused, counts)

    # -- surveys -------------------------------------------------------------------------------

    def _places(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray]:
        station, water = self._text(table, "station"), self._text(table, "water")
        ids = {"station": station.copy(), "water": water.copy()}
        for key, texts, names in (("station", station, self.station_of), ("water", water, self.water_of)):
            for text in pd.unique(texts):
                if not text:
                    continue
                identity, reason, remedy = names.look_up(str(text))
                ids[key][texts == text] = identity
                if reason:
                    self._refuse(table, issues, key, texts, texts == text, reason, remedy)
        own = np.array([self.water_of_station.get(str(s), "") for s in ids["station"]], dtype=object)
        clash = (own != "") & (ids["water"] != "") & (own != ids["water"])
        self._refuse(
            table,
            issues,
            "water",
            water,
            clash,
            "the station lies in another water",
            "Correct station or water.",
        )
        where = np.where(ids["water"] == "", own, ids["water"])
        self._refuse(
            table, issues, "water", water, where == "", "no water given", "Give the water or the station."
        )
        return ids["station"], where

    def _when(
        self, table: RawTable, key: str, zone: np.ndarray, issues: Issues
    ) -> tuple[np.ndarray, np.ndarray]:
        """Local start (or end), and the end given behind a slash."""
        texts = self._text(table, key)
        halves = [str(t).split("/") if _interval(str(t)) else [str(t)] for t in texts]
        first = np.array([h[0].strip() for h in halves], dtype=object)
        second = np.array([h[1].strip() if len(h) > 1 else "" for h in halves], dtype=object)
        first = self._with_zoned_clock(table, key, first)
        out = []
        for part in (first, second):
            codes, kinds = pd.factorize(part)
            found = parse_dates([str(k) for k in kinds], self.recipe.time.formats, self.now)
            wrong = np.isnat(found.naive) & (kinds.astype(object) != "")
            self._refuse(
                table, issues, key, texts, wrong[codes], "not a date in a declared format",
                date_remedy(self.recipe.time.formats),
            )  # fmt: skip
            when = found.naive[codes]
            far = (when > self.now + 3 * _DAY) | (when < EARLIEST)
            self._refuse(
                table, issues, key, texts, far, "this date cannot be: it lies in the future or before 1850",
                "Correct the date.",
            )  # fmt: skip
            when[far] = _NAT
            utc = found.utc[codes] & (zone != "")
            for name in pd.unique(zone[utc]):
                rows = np.flatnonzero(utc & (zone == name))
                moment = pd.DatetimeIndex(when[rows]).tz_localize("UTC").tz_convert(ZoneInfo(str(name)))
                when[rows] = moment.tz_localize(None).to_numpy(dtype="datetime64[us]")
            out.append(when)
        clock = f"{key}_time"
        if self._has(table, clock):
            out[0] = self._with_clock(table, clock, out[0], issues)
        return out[0], out[1]

    def _with_zoned_clock(self, table: RawTable, key: str, dates: np.ndarray) -> np.ndarray:
        """Put a clock time that names its offset behind its date: the two are one instant."""
        if not self._has(table, f"{key}_time"):
            return dates
        clocks = [str(c).split("/")[0].strip() for c in self._text(table, f"{key}_time")]
        joined = [
            f"{d}T{c}" if len(str(d)) == 10 and _ZONED.search(c) else d
            for d, c in zip(dates, clocks, strict=True)
        ]
        return np.array(joined, dtype=object)

    def _with_clock(self, table: RawTable, key: str, when: np.ndarray, issues: Issues) -> np.ndarray:
        texts = self._text(table, key)
        bare = np.array([str(t).split("/")[0].strip() for t in texts], dtype=object)
        bare[[bool(_ZONED.search(b)) for b in bare]] = ""
        codes, kinds = pd.factorize(bare)
        found = parse_clocks([str(k) for k in kinds], kinds.astype(object) == "")
        wrong = np.array([bool(r) for r in found.reason], bool)[codes]
        self._refuse(table, issues, key, texts, wrong, "not a clock time", "Write it as 9:35 or 0935.")
        seconds = np.nan_to_num(found.seconds[codes])
        day = when.astype("datetime64[D]").astype("datetime64[us]")
        return np.where(
            np.isnan(found.seconds[codes]),
            when,
            day + (seconds * 1e6).astype(np.int64).astype("timedelta64[us]"),
        )

    def _effort(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray]:
        unit = self._text(table, "effort_unit")
        texts = self._text(table, "effort")
        if self.recipe.fields.event_terms:
            effort = np.full(len(table), np.nan)
            for i, text in enumerate(texts):
                try:
                    effort[i], behind = split_value_unit(str(text)) if text else (np.nan, "")
                    unit[i] = behind or unit[i]
                except UnitError:
                    rows = np.array([i])
                    issues.add(
                        rows,
                        self._header(table, "effort"),
                        [str(text)],
                        "not an effort with its unit",
                        "Write it as 24 net-nights, or leave it empty when unknown.",
                    )
        else:
            effort = self._number(table, "effort", issues)
        unit = np.array([" ".join(str(u).split()).casefold() for u in unit], dtype=object)
        self._refuse(
            table, issues, "effort", texts, effort == 0, "an effort of 0 is no survey",
            "Leave it empty when it is unknown; remove the row when nothing was fished.",
        )  # fmt: skip
        self._refuse(
            table, issues, "effort", texts, (effort > 0) & (unit == ""), "an effort without its unit",
            "Give it, e.g. net-nights, hours, m2.",
        )  # fmt: skip
        return effort, unit

    def _surveys(self, table: RawTable, survey: np.ndarray, issues: Issues) -> pd.DataFrame:
        station, water = self._places(table, issues)
        zone = np.array(
            [self.zone.get(str(s)) or self.zone.get(str(w), "") for s, w in zip(station, water, strict=True)],
            dtype=object,
        )
        start, behind = self._when(table, "start", zone, issues)
        end = behind
        if self._has(table, "end"):
            given, _ = self._when(table, "end", zone, issues)
            end = np.where(np.isnat(given), behind, given)
        texts = self._text(table, "start")
        self._refuse(
            table, issues, "start", texts, np.isnat(start), "no start given", "Give the date of the survey."
        )
        late = start > self.now + np.timedelta64(1, "D")
        self._refuse(table, issues, "start", texts, late, "this date lies in the future", "Correct the date.")
        self._refuse(
            table,
            issues,
            "end",
            self._text(table, "end"),
            end < start,
            "the end lies before the start",
            "Correct start or end.",
        )
        gear = self._text(table, "gear")
        self._refuse(
            table,
            issues,
            "gear",
            gear,
            gear == "",
            "no gear given",
            "Name the gear: catches of different gears are never put together.",
        )
        effort, unit = self._effort(table, issues)
        return pd.DataFrame(
            {
                "survey": survey,
                "water": water,
                "station": station,
                "gear": [
                    self.gears.get(plain_name(str(g))) or " ".join(str(g).split()).casefold() for g in gear
                ],
                "start": start,
                "end": end,
                "effort": effort,
                "effort_unit": unit,
                "note": self._text(table, "note"),
            }
        )

    def _once(self, table: RawTable, found: pd.DataFrame, issues: Issues) -> pd.DataFrame:
        """Each survey once; rows that say otherwise about a survey seen before are refused."""
        keep = []
        good = np.flatnonzero(~issues.bad)
        records = list(
            found.iloc[good].astype(object).where(found.iloc[good].notna(), None).itertuples(index=False)
        )
        for row, record in zip(good, records, strict=True):
            known = self.seen.get(record[0])
            if known is None:
                self.seen[record[0]] = tuple(record)
                keep.append(int(row))
            elif known != tuple(record) or self.recipe.kind == "surveys":
                same = known == tuple(record)
                issues.add(
                    np.array([row]),
                    self._header(table, "survey"),
                    [str(record[0])],
                    "this survey stands in the file twice"
                    if same
                    else "this survey was described differently before",
                    "Remove the row." if same else "Give each survey its own id, or make its rows agree.",
                )
        return found.iloc[keep].reset_index(drop=True).astype(dict(SURVEY_COLUMNS))

    # -- catch and fish ------------------------------------------------------------------------

    def _species(self, table: RawTable, issues: Issues, *, needed: np.ndarray) -> np.ndarray:
        texts = self._text(table, "species")
        self._refuse(
            table, issues, "species", texts, (texts == "") & needed, "no species given", "Give the species."
        )
        kinds = {t: species_name(str(t), self.species) for t in pd.unique(texts)}
        return np.array([kinds[t] for t in texts], dtype=object)

    def _pass_and_mesh(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray]:
        number = self._number(table, "pass_number", issues, whole=True)
        self._refuse(table, issues, "pass_number", self._text(table, "pass_number"), number == 0,
                     "passes are counted from 1", "Number the passes 1, 2, 3.")  # fmt: skip
        mesh = self._number(table, "mesh", issues, self.recipe.fields.mesh_unit, "mm")
        return np.nan_to_num(number, nan=1.0).astype(np.int64), mesh

    def _catches(self, table: RawTable, survey: np.ndarray, issues: Issues) -> pd.DataFrame:
        count = self._number(table, "count", issues, whole=True)
        if self._has(table, "occurrence_status"):
            status = self._text(table, "occurrence_status")
            absent = np.array([str(s).casefold() in _ABSENT for s in status], bool)
            self._refuse(table, issues, "count", self._text(table, "count"), absent & (count > 0),
                         "absent, but with a count", "Correct the count or occurrenceStatus.")  # fmt: skip
            count = np.where(absent & np.isnan(count), 0.0, count)
        texts = self._text(table, "species")
        empty = (texts == "") & np.isnan(count)  # a survey without catch, in a file of both
        needed = ~empty if self._has(table, "start") else np.ones(len(table), bool)
        species = self._species(table, issues, needed=needed)
        self._refuse(
            table, issues, "count", self._text(table, "count"), needed & np.isnan(count), "no count given",
            "Give the number of fish; a species that was not caught needs no row, or a count of 0.",
        )  # fmt: skip
        number, mesh = self._pass_and_mesh(table, issues)
        rows = np.flatnonzero(~issues.bad & needed)
        out = {
            "survey": survey[rows], "species": species[rows], "count": count[rows].astype(np.int64),
            "pass_number": number[rows], "mesh_mm": mesh[rows],
        }  # fmt: skip
        return pd.DataFrame(out).astype(dict(CATCH_COLUMNS))

    def _fish(self, table: RawTable, survey: np.ndarray, issues: Issues) -> pd.DataFrame:
        part = self.recipe.fields
        length = self._number(table, "length", issues, part.length_unit, "mm")
        weight = self._number(table, "weight", issues, part.weight_unit, "g")
        age = self._number(table, "age", issues)
        times = self._number(table, "count", issues, whole=True)
        empty = np.isnan(length) & np.isnan(weight) & np.isnan(age)
        self._refuse(
            table,
            issues,
            "length",
            self._text(table, "length"),
            empty,
            "nothing was measured on this fish",
            "Give length, weight or age; fish that were only counted belong in the catch.",
        )
        self._refuse(
            table,
            issues,
            "count",
            self._text(table, "count"),
            times > 10_000,
            "too many fish for one row",
            "Check the count.",
        )
        species = self._species(table, issues, needed=np.ones(len(table), bool))
        number, mesh = self._pass_and_mesh(table, issues)
        rows = np.flatnonzero(~issues.bad)
        rows = np.repeat(rows, np.nan_to_num(times[rows], nan=1.0).astype(np.int64))
        out = {
            "survey": survey[rows],
            "species": species[rows],
            "length_mm": length[rows],
            "weight_g": weight[rows],
            "age_years": age[rows],
            "pass_number": number[rows],
            "mesh_mm": mesh[rows],
        }
        return pd.DataFrame(out).astype(dict(FISH_COLUMNS))


def _interval(text: str) -> bool:
    """Say whether a text is an ISO 8601 interval, start/end."""
    halves = text.split("/")
    if len(halves) != 2:
        return False
    try:
        dt.datetime.fromisoformat(halves[0].strip())
    except ValueError:
        return False
    return True


def _spoiled(table: RawTable) -> list[pd.DataFrame]:
    if not table.spoiled:
        return []
    rows = [
        dict(zip(REFUSED_COLUMNS, (table.file, s.line, "", "", s.reason, s.remedy, s.text), strict=True))
        for s in table.spoiled
    ]
    return [pd.DataFrame(rows)]
