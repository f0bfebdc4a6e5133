"""One TOML file, one checked object, and errors that lead to the key."""

from __future__ import annotations

import pytest
from pydantic import BaseModel, Field

from fathomlight.configfile import load_toml
from fathomlight.errors import ConfigError


class Lens(BaseModel, extra="forbid"):
    power: float = Field(gt=0)
    colour: str = "clear"


class Lamp(BaseModel, extra="forbid"):
    lux: float
    lens: list[Lens] = []
    main: Lens | None = None


def write(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "lamp.toml"
    path.write_bytes(text.encode(encoding))
    return path


def test_reads_what_is_right(tmp_path):
    lamp = load_toml(write(tmp_path, "lux = 3\n[[lens]]\npower = 2\n"), Lamp)
    assert lamp.lux == 3.0
    assert lamp.lens[0].power == 2.0


def test_byte_order_mark_is_no_obstacle(tmp_path):
    assert load_toml(write(tmp_path, "\ufefflux = 3\n"), Lamp).lux == 3.0


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("luxx = 3\nlux = 1", ["lamp.toml: luxx", "unknown key", "Did you mean 'lux'"]),
        (
            "lux = 1\n[[lens]]\npower=1\n[[lens]]\npower=1\ncolor='red'",
            ["lens[1].color", "Did you mean 'colour'"],
        ),
        ("lux = 1\n[main]\npwer=1", ["main.", "power"]),
        ("lux = 'bright'", ["lamp.toml: lux", "got 'bright'", "valid number"]),
        ("lux = 1\n[[lens]]\npower = -1", ["lens[0].power", "got -1", "greater than 0"]),
        ("[main]\npower = 1", ["lamp.toml: lux", "missing"]),
        ("lux = = 1", ["lamp.toml", "not valid TOML"]),
    ],
)
def test_errors_name_file_and_key(tmp_path, text, pieces):
    with pytest.raises(ConfigError) as caught:
        load_toml(write(tmp_path, text), Lamp)
    for piece in pieces:
        assert piece in str(caught.value)


def test_all_mistakes_are_listed(tmp_path):
    with pytest.raises(ConfigError, match="Also wrong in this file: lens"):
        load_toml(write(tmp_path, "lux = 'a'\n[[lens]]\npower = 'b'"), Lamp)


def test_missing_file_and_wrong_encoding(tmp_path):
    with pytest.raises(ConfigError, match="missing"):
        load_toml(tmp_path / "none.toml", Lamp)
    with pytest.raises(ConfigError, match="not UTF-8"):
        load_toml(write(tmp_path, "lux = 1 # \xb5", "latin-1"), Lamp)
