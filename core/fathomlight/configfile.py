"""Read one TOML file into one checked object; every mistake names file, key, what was got and what to do."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from fathomlight.errors import ConfigError

__all__ = ["load_toml"]

M = TypeVar("M", bound=BaseModel)


def load_toml(path: str | Path, Model: type[M]) -> M:
    """Read a TOML file and check it against a model.

    Parameters
    ----------
    path : str or pathlib.Path
        The file, UTF-8 (a byte order mark is allowed).
    Model : type of pydantic.BaseModel
        What the file must hold. Keys the model does not know are refused when the model forbids them.

    Returns
    -------
    BaseModel
        An instance of ``Model``.

    Raises
    ------
    ConfigError
        The file is missing, is not TOML, or a key is unknown, missing or wrong. The message counts further
        mistakes after the first and lists them in ``fix``.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> class Lamp(BaseModel, extra="forbid"):
    ...     lux: float
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "lamp.toml")
    ...     _ = file.write_text("lux = 3")
    ...     load_toml(file, Lamp)
    Lamp(lux=3.0)
    """
    path = Path(path)
    data = _read(path)
    try:
        return Model.model_validate(data)
    except ValidationError as error:
        raise _as_config_error(error, path.name, Model) from None


def _read(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ConfigError(
            "a file of the configuration is missing", where=str(path), fix="Create it."
        ) from None
    except UnicodeDecodeError as error:
        raise ConfigError(
            "the file is not UTF-8 text", where=path.name, got=str(error), fix="Save it as UTF-8."
        ) from None
    except OSError as error:
        raise ConfigError(
            "the file cannot be read", where=str(path), got=error.strerror or str(error)
        ) from None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(
            "the file is not valid TOML",
            where=path.name,
            got=str(error),
            fix='Text needs quotes ("..."), lists need square brackets, a table begins with [name].',
        ) from None


def _key(location: tuple[int | str, ...]) -> str:
    """Write a place as people do: ``rule[2].limit``."""
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else f"{'.' if text else ''}{part}"
    return text


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    """Every model a field may hold, however it is wrapped."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models_in(inner)]


def _known_keys(Model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """Keys that are allowed where the last part of ``location`` stands."""
    models = [Model]
    for part in location[:-1]:
        if isinstance(part, int):
            continue
        step = [
            inner
            for model in models
            for name, field in model.model_fields.items()
            if part in (name, field.alias)
            for inner in _models_in(field.annotation)
        ]
        models = step or models
    return sorted({field.alias or name for model in models for name, field in model.model_fields.items()})


def _one(problem: Any, Model: type[BaseModel]) -> tuple[str, str, object, str, str]:
    """Return what, key, got, expected, fix of one mistake."""
    location = tuple(problem["loc"])
    key = _key(location) or "the whole file"
    if problem["type"] == "extra_forbidden":
        known = _known_keys(Model, location)
        near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.5)
        fix = f"Did you mean {near[0]!r}?" if near else "Remove it."
        return "unknown key", key, str(location[-1]), "one of " + ", ".join(known), fix
    if problem["type"] == "missing":
        return "a key is missing", key, "nothing", f"a value for {location[-1]}", "Add it."
    message = str(problem["msg"]).removeprefix("Value error, ")
    return "a value is wrong", key, problem.get("input"), message[:1].lower() + message[1:], "Correct it."


def _as_config_error(error: ValidationError, file: str, Model: type[BaseModel]) -> ConfigError:
    found = sorted(error.errors(include_url=False), key=lambda p: p["type"] != "extra_forbidden")
    problems = [_one(p, Model) for p in found]
    what, key, got, expected, fix = problems[0]
    if len(problems) > 1:
        others = ", ".join(dict.fromkeys(p[1] for p in problems[1:]))
        fix += f" Also wrong in this file: {others}."
    if isinstance(got, (dict, list)) and len(repr(got)) > 200:
        got = repr(got)[:200] + "..."
    return ConfigError(what, where=f"{file}: {key}", got=got, expected=expected, fix=fix)
