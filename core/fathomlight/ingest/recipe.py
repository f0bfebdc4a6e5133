"""Recipes: how the columns of a file become readings, surveys, catches or fish.

A recipe is a TOML file in ``config/recipes/``, read by :func:`load_recipes`. Its tables:

=============  ==========================================================================================
top level      ``name``, ``description``, ``kind``, ``layout``, ``repeats``
``[file]``     encoding, delimiter, decimal sign, where the header is, unit row, footer, sheet
``[missing]``  what stands for "no value"
``[station]``  column(s) with the station, or one fixed station; other spellings
``[time]``     columns, formats, zone, and what the clock part means
``[depth]``    column, unit, codes, default
``[[values]]`` one per column of values: parameter, unit, qualifier, method, replicate
``[fields]``   for surveys, catch and fish: field -> column
=============  ==========================================================================================

Every column may be given as one text or as a list of texts (names the column has had over the years);
capitals and blanks do not matter. Columns named in ``not_imported`` (observers, comments) are known and
left out.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from fathomlight.configfile import load_toml
from fathomlight.errors import ConfigError

__all__ = [
    "DepthPart",
    "FieldsPart",
    "FilePart",
    "MissingPart",
    "Recipe",
    "StationPart",
    "TimePart",
    "ValuePart",
    "for_station",
    "load_recipes",
    "plain_name",
    "write_recipe",
]

Kind = Literal["readings", "profiles", "surveys", "catch", "fish"]


def _as_tuple(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


ColumnName = Annotated[tuple[str, ...], BeforeValidator(_as_tuple)]
"""A column by name, or by any of the names it has had."""


def plain_name(text: str) -> str:
    """Reduce a name to what matters for comparing: case, accents of width, blanks and stops do not.

    Parameters
    ----------
    text : str
        Header cell, station name ...

    Returns
    -------
    str
        Lower case, words separated by one blank.

    Examples
    --------
    >>> plain_name("  Turbid..NTU "), plain_name("Water_Temp")
    ('turbid ntu', 'water temp')
    """
    text = unicodedata.normalize("NFKC", text).casefold()
    return re.sub(r"[\s._]+", " ", text).strip()


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FilePart(_Part):
    """Where in the file things are; lines count from 1."""

    format: Literal["auto", "csv", "xlsx", "netcdf"] = "auto"
    encoding: str = "auto"
    delimiter: str = "auto"
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ",", ".", " ", "'"] = ""
    header_rows: tuple[Annotated[int, Field(ge=1)], ...] = ()
    """Lines that make up the header; several are joined with a blank. Empty: found by ``header_contains``,
    else the first line that is not blank."""
    header_contains: ColumnName = ()
    """Cells that the header line must hold: finds a header below a preamble of any length."""
    unit_row: int | None = Field(default=None, ge=1)
    """Line with a unit for each column."""
    skip_rows: tuple[int, ...] = ()
    """Lines to leave out, wherever they are."""
    footer_rows: int = Field(default=0, ge=0)
    """Lines under the data that are not data."""
    footer_starts: ColumnName = ()
    """First cell of the first line under the data."""
    comment: str = ""
    """Lines that begin with this are left out."""
    sheet: str = ""
    """Sheet of a workbook; empty means the first."""


class MissingPart(_Part):
    """What stands for "no value"; numbers are compared as numbers."""

    texts: tuple[str, ...] = (
        "",
        "NA",
        "N/A",
        "NaN",
        "NULL",
        "none",
        ".",
        "-",
        "--",
        "#N/A",
        "n/d",
        "missing",
    )
    numbers: tuple[float, ...] = (-99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -9999.0, -99999.0)


class StationPart(_Part):
    """Which station."""

    column: ColumnName = ()
    columns: tuple[str, ...] = ()
    """Several columns that name the station together; joined with a blank."""
    fixed: str = ""
    """Every row belongs to this station."""
    preamble: str = ""
    """Label of a preamble line that names the station, e.g. ``Station``."""
    aliases: Mapping[str, str] = Field(default_factory=dict)
    """Other spellings: text in the file -> station id."""


class TimePart(_Part):
    """When.

    ``formats`` are strftime patterns, ``iso``, ``excel`` or ``excel-1904`` (serial day numbers). They also
    declare whether day or month comes first; a text that two of them read as different days is refused.
    """

    column: ColumnName = ()
    formats: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ("iso",)
    time_column: ColumnName = ()
    year_column: ColumnName = ()
    month_column: ColumnName = ()
    day_column: ColumnName = ()
    day_number_column: ColumnName = ()
    reference_date: str = ""
    """Date of day number 1 (``day_number_base = 1``) or 0."""
    day_number_base: Literal[0, 1] = 1
    zone: str = "station"
    """``station`` (the station's own zone), an IANA name, ``UTC``, or a fixed offset such as ``-06:00``."""
    zone_column: ColumnName = ()
    clock: Literal["auto", "as written", "date only", "local midnight in utc"] = "auto"
    """``as written``: the clock part is a clock time.
    ``date only``: the clock part means nothing, the date as written is the local date (``T00:00:00Z``).
    ``local midnight in utc``: local midnight was converted to UTC (07:00Z); turned back, then the date
    counts.
    ``auto``: as written, unless every time of the beginning is midnight: then date only, with a warning."""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.column and (self.year_column or self.day_number_column):
            raise ValueError("give one of column, year_column or day_number_column")
        if self.day_number_column and bool(self.reference_date) == bool(self.year_column):
            raise ValueError(
                "day_number_column needs reference_date (e.g. 1985-01-01) or year_column, one of them"
            )
        if self.year_column and not self.day_number_column and not (self.month_column and self.day_column):
            raise ValueError("year_column needs month_column and day_column, or day_number_column")
        if self.reference_date:
            try:
                dt.date.fromisoformat(self.reference_date)
            except ValueError:
                raise ValueError("reference_date is written 1985-01-01") from None
        _check_zone(self.zone)
        return self


def _check_zone(zone: str) -> None:
    if zone == "station" or re.fullmatch(r"[+-]\d{2}:\d{2}", zone):
        return
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        raise ValueError(
            f"unknown time zone {zone!r}; give station, UTC, an IANA name such as America/Chicago, or -06:00"
        ) from None


class DepthPart(_Part):
    """How deep below the surface."""

    column: ColumnName = ()
    unit: str = "m"
    unit_column: ColumnName = ()
    default: float = Field(default=0.0, ge=0)
    """[m], for rows without a depth."""
    codes: Mapping[str, float | Literal["bottom"]] = Field(default_factory=dict)
    """Layer codes -> depth [m], or ``bottom`` for the station's bottom depth."""
    numbers: bool = True
    """False: the column holds codes only; a number in it is a typing error and refused."""


class ValuePart(_Part):
    """One column of values; what the file does not say in a column is said here once."""

    column: ColumnName
    parameter: str = ""
    parameter_column: ColumnName = ()
    parameter_columns: tuple[str, ...] = ()
    """Several columns that name the parameter together; their texts are joined with ``" / "``."""
    parameters: Mapping[str, ColumnName] = Field(default_factory=dict)
    """Text of the parameter column -> parameter, or several of which the first that the unit fits is taken
    (turbidity in NTU or in FNU). A joined text that is not listed is looked up by its first part."""
    skip_parameters: tuple[str, ...] = ()
    """Texts of the parameter column that are known and not wanted; ``*`` means all that are not listed."""
    unit: str = ""
    """Unit when the file gives none. Without it the canonical unit is *not* assumed."""
    units: Mapping[str, str] = Field(default_factory=dict)
    """The same by parameter, for a parameter column."""
    unit_column: ColumnName = ()
    unit_from_header: bool = True
    """Take a unit in brackets or at the end of the header cell, or of the unit row."""
    trust_unit: bool = True
    """False: the label in the file is known to be wrong; ``unit`` counts."""
    qualifier_column: ColumnName = ()
    below_codes: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ("<", "ND", "BDL", "U", "below")
    above_codes: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = (">", "above")
    equal_codes: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ("", "=", "N", "no")
    on_bottom_codes: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ()
    """Codes that say the disc was seen on the bottom: the reading becomes ``>``."""
    suspect_codes: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ()
    """Codes that say the value is doubtful: kept, flag 3."""
    limit_column: ColumnName = ()
    limit_unit_column: ColumnName = ()
    bottom_column: ColumnName = ()
    """Column with the depth to the bottom, used when the disc was on it and no value is given."""
    depth: float | None = Field(default=None, ge=0)
    """[m], when this column is always read at one depth."""
    depth_code: Literal["", "bottom"] = ""
    method: str = ""
    method_column: ColumnName = ()
    replicate: int | None = Field(default=None, ge=1)
    replicate_column: ColumnName = ()
    mean_with: ColumnName = ()
    """A second column whose number is averaged with the first, as a disc is read going down and coming up."""
    note_columns: tuple[str, ...] = ()
    """Columns that become notes as ``name: text``, e.g. wind and sky."""
    flag_column: ColumnName = ()
    """Quality flags by number (1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing); empty means 2."""
    note_column: ColumnName = ()
    """Only named columns become notes; comments can hold people's names."""
    scale: float = Field(default=1.0, gt=0)
    """The number in the file times this is the value (a column stored as tenths has 0.1)."""
    required: bool = False

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if [bool(self.parameter), bool(self.parameter_column), bool(self.parameter_columns)].count(True) != 1:
            raise ValueError("give one of parameter, parameter_column and parameter_columns")
        return self


class FieldsPart(_Part):
    """Columns of survey, catch and fish tables; what has no column may have a fixed text in ``fixed``."""

    survey: ColumnName = ()
    water: ColumnName = ()
    station: ColumnName = ()
    gear: ColumnName = ()
    start: ColumnName = ()
    end: ColumnName = ()
    start_time: ColumnName = ()
    end_time: ColumnName = ()
    effort: ColumnName = ()
    effort_unit: ColumnName = ()
    note: ColumnName = ()
    species: ColumnName = ()
    count: ColumnName = ()
    length: ColumnName = ()
    weight: ColumnName = ()
    age: ColumnName = ()
    pass_number: ColumnName = ()
    mesh: ColumnName = ()
    fixed: Mapping[str, str] = Field(default_factory=dict)
    length_unit: str = "mm"
    weight_unit: str = "g"
    mesh_unit: str = "mm"
    species_names: Mapping[str, str] = Field(default_factory=dict)
    """Names or codes in the file -> the name to keep."""
    gears: Mapping[str, str] = Field(default_factory=dict)
    waters: Mapping[str, str] = Field(default_factory=dict)
    event_terms: bool = False
    """True for Darwin Core: effort and its unit stand together in one text (``24 net-nights``), dates may be
    intervals (``start/end``), and ``occurrenceStatus`` absent means a count of 0."""
    occurrence_status: ColumnName = ()


class Recipe(_Part):
    """How one kind of file is read; see the module for the tables."""

    name: str = Field(min_length=1)
    description: str = ""
    kind: Kind = "readings"
    layout: Literal["long", "wide"] = "wide"
    repeats: Literal["as is", "replicates"] = "as is"
    """``replicates``: readings of one station, parameter, depth and time that differ are numbered in
    file order. ``as is``: they are passed on, with a warning."""
    file: FilePart = FilePart()
    missing: MissingPart = MissingPart()
    station: StationPart = StationPart()
    time: TimePart = TimePart()
    depth: DepthPart = DepthPart()
    values: tuple[ValuePart, ...] = ()
    fields: FieldsPart = FieldsPart()
    leave_out: Mapping[str, ColumnName] = Field(default_factory=dict)
    """Column -> texts (``*`` stands for any signs) of rows that are not wanted: blanks, rejected results."""
    not_imported: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.kind in ("readings", "profiles"):
            if not self.values:
                raise ValueError("a recipe of readings needs at least one [[values]] table")
            if not (
                self.station.column or self.station.columns or self.station.fixed or self.station.preamble
            ):
                raise ValueError("[station] needs column, columns, fixed or preamble")
            if not (self.time.column or self.time.year_column or self.time.day_number_column):
                raise ValueError("[time] needs column, year_column or day_number_column")
            if self.layout == "long" and len(self.values) > 1:
                raise ValueError("a long recipe has one [[values]] table")
        elif not self.fields.survey:
            raise ValueError(f"a recipe of kind {self.kind} needs fields.survey")
        return self


def for_station(recipe: Recipe, station: str) -> Recipe:
    """Return a recipe that takes every row to be of one station, for files that do not say.

    Parameters
    ----------
    recipe : Recipe
        Any recipe of readings.
    station : str
        Station id.

    Returns
    -------
    Recipe
        A copy; the recipe's own station columns do not count.
    """
    return recipe.model_copy(update={"station": StationPart(fixed=station)})


def load_recipes(folder: str | Path) -> dict[str, Recipe]:
    """Read every recipe of a folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        Folder with ``*.toml`` files; a missing folder holds no recipes.

    Returns
    -------
    dict of str to Recipe
        By name, sorted.

    Raises
    ------
    ConfigError
        A file is wrong, or two recipes have one name; names file and key.
    """
    recipes: dict[str, Recipe] = {}
    for path in sorted(Path(folder).glob("*.toml")):
        recipe = load_toml(path, Recipe)
        if recipe.name in recipes:
            raise ConfigError("two recipes have one name", where=f"{path.name}: name", got=recipe.name)
        recipes[recipe.name] = recipe
    return recipes


def _toml_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(v) for v in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_toml_value(k)} = {_toml_value(v)}" for k, v in value.items()) + " }"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _toml_lines(table: Mapping[str, Any]) -> Iterable[str]:
    return (f"{key} = {_toml_value(value)}" for key, value in table.items())


def write_recipe(recipe: Recipe, path: str | Path) -> None:
    """Write a recipe as TOML, leaving out what has its default.

    Parameters
    ----------
    recipe : Recipe
        What to write.
    path : str or pathlib.Path
        Must not exist yet.

    Raises
    ------
    ConfigError
        A file of that name is there already.
    """
    path = Path(path)
    data = recipe.model_dump(exclude_defaults=True)
    top = {k: v for k, v in data.items() if not isinstance(v, Mapping) and k != "values"}
    blocks = ["\n".join(_toml_lines({"name": recipe.name, **top}))]
    for key, value in data.items():
        if isinstance(value, Mapping) and value:
            blocks.append("\n".join([f"[{key}]", *_toml_lines(value)]))
    blocks += ["\n".join(["[[values]]", *_toml_lines(value)]) for value in data.get("values", ())]
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write("\n\n".join(blocks) + "\n")
    except FileExistsError:
        raise ConfigError(
            "a recipe file of that name is there already", where=str(path), fix="Choose another name."
        ) from None
