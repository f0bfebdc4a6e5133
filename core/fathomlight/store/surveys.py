"""Fish surveys, catches and measured fish: versions, and which batch says what.

Each row is a version; ``assertion`` holds which batches say so; what is in force for an identity is what
the latest batch that is not withdrawn says. The identity of a survey is its name; of a count (survey,
species, pass, mesh); a measured fish has none, so it is told by all it says and, of fish alike, by its
number among them: fish are only ever added, and a note says when a survey had fish before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.errors import ArgumentError
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS, REFUSED_COLUMNS, SURVEY_COLUMNS, empty_frame
from fathomlight.store.database import Session
from fathomlight.store.frames import text
from fathomlight.store.staging import temporary
from fathomlight.store.times import to_local

Kind = Literal["survey", "catch", "fish"]
Row = tuple[Any, ...]


@dataclass(frozen=True)
class Shape:
    """How the rows of one kind are stored: columns of the model and of the table, in the same order."""

    kind: Kind
    columns: Mapping[str, str]
    stored: tuple[str, ...]
    identity: int  # so many of the first stored columns make the identity
    defaults: Mapping[str, object]


SURVEY = Shape(
    "survey", SURVEY_COLUMNS,
    ("survey", "water", "station", "gear", "start_at", "end_at", "effort", "effort_unit", "note"), 1,
    {"station": "", "start": pd.NaT, "end": pd.NaT, "effort": np.nan, "effort_unit": "", "note": ""},
)  # fmt: skip
CATCH = Shape(
    "catch", {n: CATCH_COLUMNS[n] for n in ("survey", "species", "pass_number", "mesh_mm", "count")},
    ("survey", "species", "pass_number", "mesh_mm", "n"), 4, {"pass_number": 1, "mesh_mm": np.nan},
)  # fmt: skip
FISH = Shape(
    "fish", FISH_COLUMNS,
    ("survey", "species", "length_mm", "weight_g", "age_years", "pass_number", "mesh_mm", "copy"), 8,
    {"length_mm": np.nan, "weight_g": np.nan, "age_years": np.nan, "pass_number": 1, "mesh_mm": np.nan},
)  # fmt: skip
SHAPES: dict[Kind, Shape] = {"survey": SURVEY, "catch": CATCH, "fish": FISH}


def rows_of(shape: Shape, table: pd.DataFrame | None) -> list[Row]:
    """Return the rows of a table as plain tuples in the order of the model's columns, None for what is missing."""
    if table is None:
        return []
    missing = [name for name in shape.columns if name not in table and name not in shape.defaults]
    strange = [str(name) for name in table if name not in shape.columns and name not in ("batch", "line")]
    if missing or strange:
        raise ArgumentError(
            f"{shape.kind} table",
            f"wrong columns: missing {missing}, not known {strange}",
            got=[str(name) for name in table],
            expected=", ".join(shape.columns),
        )
    full = table.assign(**{n: v for n, v in shape.defaults.items() if n not in table})  # type: ignore[arg-type]
    columns = []
    for name, dtype in shape.columns.items():
        columns.append(_plain_column(full[name], name, dtype))
    return list(zip(*columns, strict=True))


def _plain_column(column: pd.Series, name: str, dtype: str) -> list[Any]:
    if dtype == "str":
        return [str(word).strip() for word in text(column).to_pylist()]
    if dtype.startswith("datetime64"):
        if column.isna().all():
            return [None] * len(column)
        if not pd.api.types.is_datetime64_dtype(column.dtype):
            raise ArgumentError(
                name, "local times without a zone are needed", got=str(column.dtype), expected=dtype
            )
        whole = column.dt.as_unit("us").astype("int64")
        return [None if gone else int(us) for us, gone in zip(whole, column.isna(), strict=True)]
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    return [None if np.isnan(v) else float(v) + 0.0 for v in numbers]


def sort_out(shape: Shape, rows: list[Row], surveys: set[str]) -> tuple[list[Row], pd.DataFrame]:
    """Return the rows as they are stored, and those refused.

    Parameters
    ----------
    shape : Shape
        Kind of rows.
    rows : list of tuple
        In the order of the model's columns.
    surveys : set of str
        Surveys that are known, for catches and fish.
    """
    kept: list[Row] = []
    refused: list[dict[str, object]] = []
    seen: dict[Row, Row] = {}
    copies: dict[Row, int] = {}
    for row in rows:
        stored = row
        problem = _CHECKS[shape.kind](row, surveys)
        if problem is None and shape.kind != "survey":
            stored = _whole_numbers(shape, row)
        if problem is None and shape.kind == "fish":
            copies[row] = copies.get(row, 0) + 1
            stored = (*stored, copies[row])
        elif problem is None:
            key = stored[: shape.identity]
            earlier = seen.setdefault(key, stored)
            if earlier is not stored and (shape.kind == "catch" or earlier != stored):
                problem = _TWICE[shape.kind]
            elif earlier is not stored:
                kept.append(stored)  # the same survey written twice: known, counted by the caller
                continue
        if problem is None:
            kept.append(stored)
        else:
            refused.append(_refusal(shape, row, problem))
    if not refused:
        return kept, empty_frame(REFUSED_COLUMNS)
    return kept, pd.DataFrame(refused).astype(dict(REFUSED_COLUMNS))


def _whole_numbers(shape: Shape, row: Row) -> Row:
    whole = [dtype == "int64" for dtype in shape.columns.values()]
    return tuple(int(v) if is_whole and v is not None else v for v, is_whole in zip(row, whole, strict=True))


Problem = tuple[str, str, str]
_TWICE: dict[str, Problem] = {
    "survey": (
        "survey", "the file describes this survey twice and differently", "Give each survey its own name."
    ),
    "catch": (
        "count", "a second count of this species in the same survey, pass and mesh",
        "Add the counts up, or tell them apart by survey, pass or mesh.",
    ),
}  # fmt: skip


def _check_survey(row: Row, _surveys: set[str]) -> Problem | None:
    survey, water, station, gear, start, end, effort, _, _ = row
    if not survey:
        return "survey", "no name of the survey", "Name each survey, e.g. by date and place."
    if not (water or station):
        return "water", "neither water nor station", "Say where it was."
    if not gear:
        return "gear", "no gear", "Say how the fish were caught; catches of different gears are never pooled."
    if effort is not None and not (0 < effort < np.inf):
        return "effort", "effort must be greater than zero", "Leave it empty when it is unknown."
    if start is not None and end is not None and end < start:
        return "end", "the survey ends before it starts", "Correct the times."
    return None


def _check_common(survey: str, species: str, pass_number: float | None, surveys: set[str]) -> Problem | None:
    if survey not in surveys:
        return (
            "survey",
            f"no survey {survey!r} is known",
            "Load the surveys first, or together with this table.",
        )
    if not species:
        return "species", "no species", "Name the species."
    if pass_number is None or pass_number < 1 or pass_number != int(pass_number):
        return "pass_number", "the pass is not 1, 2, 3 ...", "Number the passes from 1."
    return None


def _check_catch(row: Row, surveys: set[str]) -> Problem | None:
    survey, species, pass_number, mesh, count = row
    if problem := _check_common(survey, species, pass_number, surveys):
        return problem
    if count is None or not (0 <= count < 2**53) or count != int(count):
        return "count", "the count is not 0, 1, 2 ...", "Give a whole number of fish."
    return _check_size("mesh_mm", mesh)


def _check_fish(row: Row, surveys: set[str]) -> Problem | None:
    survey, species, length, weight, age, pass_number, mesh = row
    if problem := _check_common(survey, species, pass_number, surveys):
        return problem
    if age is not None and not (0 <= age < np.inf):
        return "age_years", "age must not be negative", "Leave it empty when it is unknown."
    sizes = (("length_mm", length), ("weight_g", weight), ("mesh_mm", mesh))
    return next((problem for name, value in sizes if (problem := _check_size(name, value))), None)


def _check_size(name: str, value: float | None) -> Problem | None:
    if value is not None and not (0 < value < np.inf):
        return name, f"{name} must be greater than zero", "Leave it empty when it was not measured."
    return None


_CHECKS = {"survey": _check_survey, "catch": _check_catch, "fish": _check_fish}


def _refusal(shape: Shape, row: Row, problem: Problem) -> dict[str, object]:
    column, reason, remedy = problem
    value = dict(zip(shape.columns, row, strict=True))[column]
    return {
        "file": "", "line": 0, "column": column, "value": "" if value is None else str(value), "reason": reason,
        "remedy": remedy, "row_text": ", ".join("" if v is None else str(v) for v in row),
    }  # fmt: skip


def in_force(
    session: Session, shape: Shape, surveys: Iterable[str] | None = None
) -> dict[Row, tuple[int, Row]]:
    """Return by identity the version number and the stored row of what is in force.

    Parameters
    ----------
    session : Session
        A connection.
    shape : Shape
        Kind of rows.
    surveys : iterable of str, optional
        Only these surveys.
    """
    names = None if surveys is None else sorted(set(surveys))
    if names is not None and not names:
        return {}
    few = names if names is not None and len(names) <= _FEW else []
    chosen = f"WHERE t.survey IN ({', '.join('?' * len(few))})" if few else ""
    table = session.arrow(
        f"""SELECT {", ".join(readable(shape, session, "t."))}, t.vid, k.batch
        FROM {shape.kind} t JOIN (SELECT a.vid, max(a.batch) AS batch FROM assertion a
            JOIN batch b ON b.id = a.batch AND b.state = 'active' GROUP BY a.vid) k ON k.vid = t.vid {chosen}
        ORDER BY k.batch, t.vid""",
        *few,
    )
    found: dict[Row, tuple[int, Row]] = {}
    for *values, vid, _ in zip(*(column.to_pylist() for column in table.columns), strict=True):
        row = tuple(None if v == np.inf or v == _NO_TIME else v for v in values)
        found[row[: shape.identity]] = (int(vid), row)
    if names is not None and not few:
        wanted = set(names)
        return {key: value for key, value in found.items() if key[0] in wanted}
    return found


_FEW = 500
_NO_TIME = np.iinfo(np.int64).min
_MAYBE_REAL = ("effort", "mesh_mm", "length_mm", "weight_g", "age_years")


def readable(shape: Shape, session: Session, prefix: str = "") -> list[str]:
    """Return the stored columns with a sign in place of NULL: the driver tells types by the first rows."""
    infinite = "9e999" if session.engine == "sqlite" else "CAST('Infinity' AS DOUBLE PRECISION)"
    signs = dict.fromkeys(_MAYBE_REAL, infinite) | dict.fromkeys(
        ("start_at", "end_at"), f"({_NO_TIME + 1} - 1)"
    )
    return [f"coalesce({prefix}{n}, {signs[n]})" if n in signs else prefix + n for n in shape.stored]


def write_versions(
    session: Session, shape: Shape, rows: list[Row], batch: int, first_vid: int
) -> tuple[int, int, int, list[str]]:
    """Store the rows of one kind inside a write transaction; return new, known, corrected and notes."""
    fresh, said, known, corrected, notes = tell_apart(session, shape, rows)
    vids = np.arange(first_vid, first_vid + len(fresh))
    _insert(session, shape, list(fresh.values()), vids, batch)
    _assert(session, np.concatenate([vids, np.array(sorted(said), dtype=np.int64)]), batch)
    return len(fresh) - corrected, known, corrected, notes


def tell_apart(
    session: Session, shape: Shape, rows: list[Row]
) -> tuple[dict[Row, Row], set[int], int, int, list[str]]:
    """Hold rows of one kind against what is in force; nothing is stored.

    Parameters
    ----------
    session : Session
        A connection.
    shape : Shape
        Kind of rows.
    rows : list of tuple
        As :func:`sort_out` gives them.

    Returns
    -------
    dict, set of int, int, int, list of str
        Rows to be stored by identity, versions that are said again, how many rows are known and how many
        correct another version, and notes.
    """
    current = in_force(session, shape, {row[0] for row in rows}) if rows else {}
    had = {row[0] for _, row in current.values()}
    fresh: dict[Row, Row] = {}
    said: set[int] = set()
    known = corrected = 0
    for row in rows:
        key = row[: shape.identity]
        vid, other = current.get(key, (0, None))
        if (other is not None and same_row(row, other)) or key in fresh:
            known += 1
            if vid and key not in fresh:
                said.add(vid)
        else:
            corrected += other is not None
            fresh[key] = row
    notes = []
    again = {row[0] for row in fresh.values()} & had
    if shape.kind == "fish" and again:
        notes.append(
            f"Fish were added to {len(again)} surveys that had measured fish already; if this file is a corrected "
            "version of an earlier one, withdraw that batch."
        )
    return fresh, said, known, corrected, notes


def same_row(one: Row, other: Row) -> bool:
    """Tell whether two rows say the same, numbers up to rounding."""
    return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, (int, float)):
        return abs(a - b) <= 1e-9 * abs(b)
    return bool(a == b)


def _insert(session: Session, shape: Shape, rows: list[Row], vids: np.ndarray, batch: int) -> None:
    if not rows:
        return
    kinds = [_arrow_type(name) for name in shape.stored]
    columns = {
        name: pa.array([row[i] for row in rows], type=kind)
        for i, (name, kind) in enumerate(zip(shape.stored, kinds, strict=True))
    }
    declared = ", ".join(
        f"{name} {'TEXT' if kind == pa.string() else '{r}' if kind == pa.float64() else '{w}'}"
        for name, kind in zip(shape.stored, kinds, strict=True)
    )
    stage = f"stage_{shape.kind}"
    temporary(session, stage, f"{declared}, vid {{w}} NOT NULL")
    session.ingest(stage, pa.table({**columns, "vid": vids}))
    names = ", ".join(shape.stored)
    session.run(f"INSERT INTO {shape.kind} ({names}, vid, batch) SELECT {names}, vid, {batch} FROM {stage}")


def _arrow_type(name: str) -> pa.DataType:
    if name in _MAYBE_REAL:
        return pa.float64()
    return pa.int64() if name in ("start_at", "end_at", "n", "pass_number", "copy") else pa.string()


def _assert(session: Session, vids: np.ndarray, batch: int) -> None:
    if vids.size == 0:
        return
    session.run("DROP TABLE IF EXISTS stage_assertion")
    temporary(session, "stage_assertion", "vid {w} NOT NULL")
    session.ingest("stage_assertion", pa.table({"vid": np.unique(vids)}))
    session.run(f"INSERT INTO assertion (vid, batch) SELECT vid, {batch} FROM stage_assertion")


def to_table(shape: Shape, rows: Iterable[Row], columns: Mapping[str, str]) -> pd.DataFrame:
    """Turn stored rows into a table with the columns of the model."""
    listed = [row[: len(shape.columns)] for row in rows]
    if not listed:
        return empty_frame(columns)
    named = dict(zip(shape.columns, zip(*listed, strict=True), strict=True))
    table = {}
    for name, dtype in columns.items():
        values = list(named[name])
        if dtype.startswith("datetime64"):
            table[name] = pd.Series(to_local(values))
        elif dtype == "float64":
            table[name] = pd.Series([np.nan if v is None else v for v in values], dtype=dtype)
        else:
            table[name] = pd.Series(values, dtype=dtype)
    return pd.DataFrame(table)
