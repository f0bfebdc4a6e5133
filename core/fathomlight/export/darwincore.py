"""Fish surveys as a Darwin Core archive: sampling events and occurrences, with the zeros said out loud.

Darwin Core is a standard of Biodiversity Information Standards (TDWG); the archive follows its text guide: a
core file of events, an extension of occurrences, and ``meta.xml`` that says what each column is.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd

from fathomlight.cells import escape_frame
from fathomlight.errors import ArgumentError
from fathomlight.export.safely import write_safely
from fathomlight.fish import SPECIES, species_key, zero_filled
from fathomlight.model import Station, Water

_TERMS = "http://rs.tdwg.org/dwc/terms/"
_EVENT = (
    "eventID", "eventType", "eventDate", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "waterBody",
    "locationID", "decimalLatitude", "decimalLongitude", "geodeticDatum",
)  # fmt: skip
_OCCURRENCE = (
    "eventID", "occurrenceID", "basisOfRecord", "scientificName", "vernacularName", "occurrenceStatus",
    "individualCount", "dynamicProperties",
)  # fmt: skip


def write_darwin_core(
    surveys: pd.DataFrame,
    catches: pd.DataFrame,
    folder: Path,
    *,
    stations: Mapping[str, Station],
    waters: Mapping[str, Water],
) -> list[Path]:
    """Write ``event.csv``, ``occurrence.csv`` and ``meta.xml`` into a folder.

    Parameters
    ----------
    surveys, catches : pandas.DataFrame
        :data:`~fathomlight.model.SURVEY_COLUMNS` and :data:`~fathomlight.model.CATCH_COLUMNS`.
    folder : pathlib.Path
        Made when missing.
    stations, waters : mapping
        By id; a survey without a station gets the place of its water.

    Returns
    -------
    list of pathlib.Path
        The files. A species that a survey with known effort did not catch is written as absent.

    Raises
    ------
    fathomlight.errors.ArgumentError
        No surveys.
    """
    if surveys.empty:
        raise ArgumentError("surveys", "there is nothing to export", got="no surveys")
    tables = {
        "event.csv": _events(surveys, stations, waters),
        "occurrence.csv": _occurrences(surveys, catches),
    }
    written = [
        _write_text(folder / name, escape_frame(table).to_csv(index=False, lineterminator="\n"))
        for name, table in tables.items()
    ]
    written.append(_write_text(folder / "meta.xml", _meta()))
    return written


def _write_text(path: Path, text: str) -> Path:
    return write_safely(path, lambda p: p.write_text(text, encoding="utf-8"))


def _events(
    surveys: pd.DataFrame, stations: Mapping[str, Station], waters: Mapping[str, Water]
) -> pd.DataFrame:
    rows = []
    for row in surveys.to_dict("records"):
        place = stations.get(str(row["station"])) or waters.get(str(row["water"]))
        start, end = pd.Timestamp(row["start"]), pd.Timestamp(row["end"])
        when = f"{start:%Y-%m-%dT%H:%M}" + (f"/{end:%Y-%m-%dT%H:%M}" if not pd.isna(end) else "")
        rows.append(
            {
                "eventID": row["survey"],
                "eventType": "Survey",
                "eventDate": when,
                "samplingProtocol": row["gear"],
                "sampleSizeValue": row["effort"],
                "sampleSizeUnit": row["effort_unit"] if not pd.isna(row["effort"]) else "",
                "waterBody": row["water"],
                "locationID": row["station"],
                "decimalLatitude": place.latitude if place else None,
                "decimalLongitude": place.longitude if place else None,
                "geodeticDatum": "EPSG:4326",
            }
        )
    return pd.DataFrame(rows, columns=list(_EVENT))


def _occurrences(surveys: pd.DataFrame, catches: pd.DataFrame) -> pd.DataFrame:
    chosen = catches[catches["survey"].isin(surveys["survey"])]
    keys = {n: species_key(n) for n in chosen["species"].unique()}
    rows: list[dict[str, object]] = []
    caught: set[tuple[str, str]] = set()
    for labels, part in chosen.assign(species=chosen["species"].map(keys)).groupby(["survey", "species"]):
        survey, species = (str(label) for label in labels)
        caught.add((survey, species))
        rows.append(_occurrence(survey, species, int(part["count"].sum()), _details(part)))
    filled = zero_filled(surveys, catches)
    empty = filled[filled["count"] == 0]
    for survey, species in zip(empty["survey"].astype(str), empty["species"].astype(str), strict=True):
        if (survey, species) not in caught:
            rows.append(_occurrence(survey, species, 0, {}))
    return pd.DataFrame(rows, columns=list(_OCCURRENCE))


def _details(part: pd.DataFrame) -> dict[str, dict[str, int]]:
    """Return counts by pass and by mesh, where there are any."""
    out: dict[str, dict[str, int]] = {}
    for name, column in (("count by pass", "pass_number"), ("count by mesh_mm", "mesh_mm")):
        known = part[part[column].notna() & (part[column] > 0)]
        if len(known):
            sums = known.groupby(column)["count"].sum()
            out[name] = {f"{float(str(k)):g}": int(v) for k, v in sums.items()}
    return out


def _occurrence(
    survey: str, species: str, count: int, details: dict[str, dict[str, int]]
) -> dict[str, object]:
    return {
        "eventID": survey,
        "occurrenceID": f"{survey}:{species.replace(' ', '-')}",
        "basisOfRecord": "HumanObservation",
        "scientificName": SPECIES[species].scientific if species in SPECIES else "",
        "vernacularName": species,
        "occurrenceStatus": "present" if count else "absent",
        "individualCount": count,
        "dynamicProperties": json.dumps(details) if details else "",
    }


def _meta() -> str:
    archive = ElementTree.Element("archive", {"xmlns": "http://rs.tdwg.org/dwc/text/"})
    for kind, row_type, file, columns, key in (
        ("core", "Event", "event.csv", _EVENT, "id"),
        ("extension", "Occurrence", "occurrence.csv", _OCCURRENCE, "coreid"),
    ):
        part = ElementTree.SubElement(archive, kind, {
            "encoding": "UTF-8", "fieldsTerminatedBy": ",", "linesTerminatedBy": "\\n", "fieldsEnclosedBy": '"',
            "ignoreHeaderLines": "1", "rowType": _TERMS + row_type,
        })  # fmt: skip
        files = ElementTree.SubElement(part, "files")
        ElementTree.SubElement(files, "location").text = file
        ElementTree.SubElement(part, key, {"index": "0"})
        for index, name in enumerate(columns):
            ElementTree.SubElement(part, "field", {"index": str(index), "term": _TERMS + name})
    ElementTree.indent(archive)
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(archive, encoding="unicode") + "\n"
    )
