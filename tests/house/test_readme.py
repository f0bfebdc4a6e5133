"""What the README shows works as shown."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_python_example_runs(
    own_workspace: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", TEXT, flags=re.DOTALL)
    monkeypatch.chdir(own_workspace)
    names: dict[str, object] = {}
    exec(example, names)
    names["ws"].close()  # type: ignore[attr-defined]
    said = capsys.readouterr().out
    assert "getting clearer" in said
    assert "readings taken within 15 days" in said
    assert names["readings"].attrs["units"] == {"secchi": "m"}  # type: ignore[attr-defined]
    assert names["layers"]["temperature"].attrs["units"] == "degC"  # type: ignore[index]


def test_every_verb_of_the_readme_exists_and_the_other_way_round() -> None:
    from fathomlight.cli import app, verbs_answers, verbs_data, verbs_out, verbs_workspace  # noqa: F401

    known = {c.name or c.callback.__name__ for c in app.registered_commands if c.callback}
    table = TEXT.split("## The command line")[1].split("```")[0]
    told = {w.split()[0] for w in re.findall(r"`([a-z][a-zA-Z ]*)`", table) if not w.startswith("demo,")}
    assert known <= told, f"not in the README: {known - told}"


@pytest.mark.parametrize("station", ["PIN-3"])
def test_the_shell_examples_name_things_that_exist(station: str) -> None:
    assert station in (ROOT / "config" / "stations.csv").read_text(encoding="utf-8")
    assert "murky-for-the-season" in (ROOT / "config" / "alerts.toml").read_text(encoding="utf-8")
    assert (ROOT / "data" / "hold_back" / "bad_week.csv").is_file()
    assert (ROOT / "config" / "recipes" / "demo-crew.toml").is_file()
