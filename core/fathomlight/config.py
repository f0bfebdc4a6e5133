"""What a workspace's ``config/`` folder says, read once, checked, and frozen.

=====================  =====================================================================
``workspace.toml``     name, units, the day taken as today, where the store is
``waters.toml``        lakes, bays, reservoirs and river reaches
``stations.csv``       the stations, one a row
``parameters.toml``    what is measured, its unit and its quality tests
``seasons.toml``       seasons, growing season, open water, the settings of a standing
``species.toml``       light and temperature bands of sight-feeding fish
``alerts.toml``        the rules that ask for attention
``recipes/*.toml``     how files become readings (read by :mod:`fathomlight.ingest`)
``notices.toml``       where notices go (read by :mod:`fathomlight.config_notices`)
=====================  =====================================================================

Every mistake is a :class:`~fathomlight.errors.ConfigError` that names file and key.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pandas as pd
from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from fathomlight.alerts import Rule, RulesFile
from fathomlight.config_login import LoginTable
from fathomlight.configfile import load_toml
from fathomlight.errors import ConfigError
from fathomlight.indices.habitat import Species
from fathomlight.model import Parameter, Station, Water
from fathomlight.quality import QualitySettings
from fathomlight.seasons import Season, SeasonScheme


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _WorkspaceTable(_Table):
    name: str
    invented: bool = False
    units: Literal["metric", "us"] = "metric"
    as_of: dt.date | None = None
    language: Literal["en"] = "en"


class _StoreTable(_Table):
    url: str = "store/fathomlight.sqlite"


class _FilesTable(_Table):
    shoreline: str = "data/shoreline.geojson"
    depth_areas: str = "data/depth_areas.csv"


class _WorkspaceFile(_Table):
    workspace: _WorkspaceTable
    store: _StoreTable = _StoreTable()
    files: _FilesTable = _FilesTable()
    login: LoginTable = LoginTable()


class _WaterRow(_Table):
    id: str = Field(min_length=1)
    name: str
    kind: Literal["lake", "bay", "river", "reservoir"] = "lake"
    latitude: float = Field(ge=-90, le=90)
    longitude: float = Field(ge=-180, le=180)
    max_depth_m: float | None = Field(default=None, gt=0)
    kd_constant: float = Field(default=1.7, gt=0)
    description: str = ""


class _WatersFile(_Table):
    water: list[_WaterRow] = Field(min_length=1)


class _ParameterTable(_Table):
    label: str
    unit: str
    decimals: int = Field(default=1, ge=0, le=6)
    clearer: Literal["higher", "lower"] | None = None
    standard_name: str | None = None
    profile: bool = False
    positive: bool = True
    possible: tuple[float, float] | None = None
    quality: QualitySettings | None = None


def _months(value: list[int]) -> list[int]:
    if not value or any(m < 1 or m > 12 for m in value) or len(set(value)) != len(value):
        raise ValueError("months are different numbers from 1 to 12")
    return value


_Months = Annotated[list[int], AfterValidator(_months)]


class _SeasonRow(_Table):
    name: str
    months: _Months


class _MonthsTable(_Table):
    months: _Months


class StandingSettings(_Table):
    """How a reading is held against its station's past (see :func:`fathomlight.seasons.standing`)."""

    window_days: int = Field(default=15, ge=1, le=90)
    min_years: int = Field(default=5, ge=1)
    min_readings: int = Field(default=10, ge=1)
    low: float = Field(default=10, ge=0, le=50)
    high: float = Field(default=90, ge=50, le=100)


class _SeasonsFile(_Table):
    season: list[_SeasonRow] = Field(min_length=1)
    growing_season: _MonthsTable = _MonthsTable(months=[6, 7, 8, 9])
    open_water: _MonthsTable = _MonthsTable(months=[4, 5, 6, 7, 8, 9, 10, 11])
    standing: StandingSettings = StandingSettings()


class _SpeciesRow(_Table):
    key: str
    name: str
    scientific: str
    low_lux: float = Field(gt=0)
    high_lux: float = Field(gt=0)
    low_c: float
    high_c: float
    source: str


class _SpeciesFile(_Table):
    species: list[_SpeciesRow] = Field(default_factory=list)


class _StationRow(_Table):
    id: str = Field(min_length=1)
    name: str = Field(min_length=1)
    water: str
    latitude: float = Field(ge=-90, le=90)
    longitude: float = Field(ge=-180, le=180)
    timezone: str = "UTC"
    bottom_depth_m: float | None = Field(default=None, gt=0)
    schedule_days: float = Field(default=30.0, gt=0)
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Config:
    """Everything that ``config/`` says; see the module for the files.

    ``possible`` holds the hard limits (low, high) of a parameter in its canonical unit: a value outside them
    cannot be, and is refused. ``growing_season`` and ``open_water`` are months.
    """

    root: Path
    name: str
    invented: bool
    units: Literal["metric", "us"]
    as_of: dt.date | None
    store_url: str
    shoreline: Path
    parameters: Mapping[str, Parameter]
    possible: Mapping[str, tuple[float, float]]
    quality: Mapping[str, QualitySettings]
    waters: Mapping[str, Water]
    stations: Mapping[str, Station]
    seasons: SeasonScheme
    standing: StandingSettings
    growing_season: tuple[int, ...]
    open_water: tuple[int, ...]
    species: Mapping[str, Species]
    rules: tuple[Rule, ...]
    login: LoginTable = field(default_factory=LoginTable)


def load_config(root: str | Path, *, folder: Path | None = None) -> Config:
    """Read and check the ``config/`` folder of a workspace.

    Parameters
    ----------
    root : str or pathlib.Path
        The workspace: the folder that holds ``config/``.
    folder : pathlib.Path, optional
        Read the files of this folder instead of ``config/``, to try a change of them.

    Returns
    -------
    Config
        Frozen; cross-references (station to water, rule to parameter) are checked.

    Raises
    ------
    fathomlight.errors.ConfigError
        Names the file and the key.
    """
    root = Path(root).resolve()
    folder = folder or root / "config"
    if not (folder / "workspace.toml").is_file():
        raise ConfigError(
            "this folder is not a workspace",
            where=str(root),
            expected="a file config/workspace.toml in it",
            fix=f"Make one with: fathomlight init {root}",
        )
    top = load_toml(folder / "workspace.toml", _WorkspaceFile)
    parameters, possible, quality = _read_parameters(folder / "parameters.toml")
    waters = _read_waters(folder / "waters.toml", root / top.files.depth_areas)
    top.login.check_waters(waters)
    stations = _read_stations(folder / "stations.csv", waters)
    seasons = load_toml(folder / "seasons.toml", _SeasonsFile)
    rules = _read_rules(folder / "alerts.toml", parameters, stations, waters)
    return Config(
        root=root,
        name=top.workspace.name,
        invented=top.workspace.invented,
        units=top.workspace.units,
        as_of=top.workspace.as_of,
        store_url=_store_url(root, top.store.url),
        shoreline=root / top.files.shoreline,
        parameters=parameters,
        possible=possible,
        quality=quality,
        waters=waters,
        stations=stations,
        seasons=_scheme(seasons),
        standing=seasons.standing,
        growing_season=tuple(seasons.growing_season.months),
        open_water=tuple(seasons.open_water.months),
        species=_read_species(folder / "species.toml"),
        rules=rules,
        login=top.login,
    )


def _store_url(root: Path, url: str) -> str:
    return url if "://" in url else str(root / url)


def _scheme(file: _SeasonsFile) -> SeasonScheme:
    return SeasonScheme(
        seasons=tuple(Season(name=s.name, months=tuple(s.months)) for s in file.season),
        name="seasons.toml",
    )


def _read_parameters(
    path: Path,
) -> tuple[dict[str, Parameter], dict[str, tuple[float, float]], dict[str, QualitySettings]]:
    class ParametersFile(_Table):
        model_config = ConfigDict(extra="allow", frozen=True)
        __pydantic_extra__: dict[str, _ParameterTable] = Field(init=False)

    tables = load_toml(path, ParametersFile).__pydantic_extra__ or {}
    parameters, possible, quality = {}, {}, {}
    for name, table in tables.items():
        fields = table.model_dump(exclude={"possible", "quality"})
        parameters[name] = Parameter(name=name, **fields)
        if table.possible is not None:
            if table.possible[0] >= table.possible[1]:
                raise ConfigError(
                    "the possible range is empty",
                    where=f"{path.name}: {name}.possible",
                    got=list(table.possible),
                    expected="[low, high] with low below high",
                )
            possible[name] = table.possible
        if table.quality is not None:
            quality[name] = table.quality
    return parameters, possible, quality


def _read_depth_areas(path: Path) -> dict[str, tuple[tuple[float, float], ...]]:
    if not path.is_file():
        return {}
    table = _read_csv(path, ["water", "depth_m", "area_m2"])
    out: dict[str, tuple[tuple[float, float], ...]] = {}
    for water, rows in table.groupby("water"):
        try:
            pairs = sorted(
                (float(d), float(a)) for d, a in zip(rows["depth_m"], rows["area_m2"], strict=True)
            )
        except ValueError as error:
            raise ConfigError(
                "a depth or an area is not a number",
                where=f"{path.name}: water {water}",
                got=str(error),
                expected="depth_m [m] and area_m2 [m2]",
            ) from None
        if any(a2 > a1 for (_, a1), (_, a2) in pairwise(pairs)):
            raise ConfigError(
                "the area must not grow with depth",
                where=f"{path.name}: water {water}",
                fix="area_m2 is the area inside each depth contour, largest at the surface.",
            )
        out[str(water)] = tuple(pairs)
    return out


def _read_waters(path: Path, depth_areas: Path) -> dict[str, Water]:
    tables = _read_depth_areas(depth_areas)
    waters = {}
    for row in load_toml(path, _WatersFile).water:
        if row.id in waters:
            raise ConfigError("two waters have one id", where=f"{path.name}: water.id", got=row.id)
        waters[row.id] = Water(**row.model_dump(), depth_areas=tables.get(row.id, ()))
    stray = set(tables) - set(waters)
    if stray:
        raise ConfigError(
            "a depth-area table belongs to no water",
            where=f"{depth_areas.name}: water",
            got=sorted(stray),
            expected=f"one of {sorted(waters)}",
        )
    return waters


def _read_csv(path: Path, required: list[str]) -> pd.DataFrame:
    if not path.is_file():
        raise ConfigError("a file of the workspace is missing", where=str(path))
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise ConfigError(
            "the file is not a table of comma-separated values in UTF-8", where=path.name, got=str(error).strip(),
            fix="Every row needs as many commas as the header; text with a comma in it needs quotes.",
        ) from None  # fmt: skip
    missing = [c for c in required if c not in table.columns]
    if missing:
        raise ConfigError(
            "a column is missing",
            where=f"{path.name}: header",
            got=list(table.columns),
            expected=str(missing),
        )
    return table


def _read_stations(path: Path, waters: Mapping[str, Water]) -> dict[str, Station]:
    table = _read_csv(path, ["id", "name", "water", "latitude", "longitude"])
    unknown = set(table.columns) - set(_StationRow.model_fields)
    if unknown:
        raise ConfigError(
            "an unknown column",
            where=f"{path.name}: header",
            got=sorted(unknown),
            expected=f"some of {list(_StationRow.model_fields)}",
        )
    stations: dict[str, Station] = {}
    for line, record in enumerate(table.to_dict("records"), start=2):
        stations_row = _station(path.name, line, {str(k): v for k, v in record.items()}, waters)
        if stations_row.id in stations:
            raise ConfigError(
                "two stations have one id", where=f"{path.name} line {line}: id", got=stations_row.id
            )
        stations[stations_row.id] = stations_row
    return stations


def _station(file: str, line: int, record: dict[str, Any], waters: Mapping[str, Water]) -> Station:
    aliases = tuple(a.strip() for a in record.pop("aliases", "").split(";") if a.strip())
    fields = {k: v.strip() for k, v in record.items() if v.strip() != ""}
    try:
        row = _StationRow(**fields, aliases=aliases)
    except ValueError as error:
        first: Any = error.errors()[0] if hasattr(error, "errors") else {"loc": ("?",), "msg": str(error)}
        key = ".".join(str(k) for k in first["loc"])
        raise ConfigError(
            first["msg"], where=f"{file} line {line}: {key}", got=fields.get(key, "nothing")
        ) from None
    if row.water not in waters:
        raise ConfigError(
            "a station lies in an unknown water",
            where=f"{file} line {line}: water",
            got=row.water,
            expected=f"one of {sorted(waters)}",
            fix="Add the water to waters.toml.",
        )
    try:
        ZoneInfo(row.timezone)
    except (ZoneInfoNotFoundError, ValueError):
        raise ConfigError(
            "an unknown time zone",
            where=f"{file} line {line}: timezone",
            got=row.timezone,
            expected="an IANA name such as America/Chicago",
        ) from None
    return Station(**row.model_dump())


def _read_species(path: Path) -> dict[str, Species]:
    rows = load_toml(path, _SpeciesFile).species if path.is_file() else []
    return {
        row.key: Species(
            name=row.key,
            label=row.name,
            low_lux=row.low_lux,
            high_lux=row.high_lux,
            low_degc=row.low_c,
            high_degc=row.high_c,
            source=row.source,
        )
        for row in rows
    }


def _read_rules(
    path: Path,
    parameters: Mapping[str, Parameter],
    stations: Mapping[str, Station],
    waters: Mapping[str, Water],
) -> tuple[Rule, ...]:
    if not path.is_file():
        return ()
    rules = tuple(load_toml(path, RulesFile).rule)
    for position, rule in enumerate(rules):
        where = f"{path.name}: rule[{position}] {rule.id}"
        for key, got, known in (
            ("parameter", [rule.parameter] if rule.parameter else [], parameters),
            ("stations", rule.stations, stations),
            ("waters", rule.waters, waters),
        ):
            stray = [g for g in got if g not in known]
            if stray:
                raise ConfigError(
                    f"{key}: an unknown name",
                    where=f"{where}.{key}",
                    got=stray,
                    expected=f"some of {sorted(known)}",
                )
    if len({r.id for r in rules}) != len(rules):
        raise ConfigError("two rules have one id", where=path.name, got=[r.id for r in rules])
    return rules


def read_shorelines(path: Path) -> dict[str, Any]:
    """Read the shoreline file (GeoJSON, one feature a water, property ``water``).

    Parameters
    ----------
    path : pathlib.Path
        The file; a missing one gives an empty collection.

    Returns
    -------
    dict
        A GeoJSON FeatureCollection.

    Raises
    ------
    fathomlight.errors.ConfigError
        When it is not GeoJSON.
    """
    if not path.is_file():
        return {"type": "FeatureCollection", "features": []}
    try:
        data: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise ConfigError("the shoreline file is not JSON", where=path.name, got=str(error)) from None
    if data.get("type") != "FeatureCollection":
        raise ConfigError(
            "the shoreline file is not a GeoJSON FeatureCollection", where=path.name, got=data.get("type")
        )
    return data
