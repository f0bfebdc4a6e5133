"""Pages are found and bounded; choices live in the address; settings say one thing."""

from __future__ import annotations

import re
import sys
import tomllib
import types
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

import fathomlight_dashboard
from fathomlight.errors import FathomlightError
from fathomlight_dashboard import STREAMLIT_FLAGS
from fathomlight_dashboard.page import Page, discover

ROOT = Path(__file__).resolve().parents[2]
FOLDER = Path(fathomlight_dashboard.__file__).parent


def test_every_view_is_a_page_and_has_a_place() -> None:
    pages = discover()
    files = {p.stem for p in (FOLDER / "views").glob("*.py")} - {"__init__"}
    assert len(pages) == len(files)
    assert [p.order for p in pages] == sorted({p.order for p in pages})
    assert {"waters", "station", "change", "attention", "add", "check", "fish", "methods"} <= {
        p.path for p in pages
    }
    for page in pages:
        assert page.question.endswith(("?", "."))


def a_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, **files: str) -> str:
    folder = tmp_path / "some_views"
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    for name, text in files.items():
        (folder / f"{name}.py").write_text(text)
    monkeypatch.syspath_prepend(str(tmp_path))
    for module in [m for m in sys.modules if m.startswith("some_views")]:
        monkeypatch.delitem(sys.modules, module)
    return "some_views"


VIEW = (
    "from fathomlight_dashboard.page import Page\n"
    "PAGE = Page(title='T', path='{path}', order={order}, question='Q?', render=print)\n"
)


def test_a_new_page_is_one_new_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = a_package(
        tmp_path,
        monkeypatch,
        b=VIEW.format(path="b", order=1),
        a=VIEW.format(path="a", order=2),
        helper="x = 1",
    )
    assert [p.path for p in discover(package)] == ["b", "a"]


def test_two_pages_with_one_address_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = a_package(
        tmp_path, monkeypatch, a=VIEW.format(path="same", order=1), b=VIEW.format(path="same", order=2)
    )
    with pytest.raises(FathomlightError, match="two pages claim one address"):
        discover(package)


def test_roles_go_from_few_rights_to_many() -> None:
    page = Page(title="T", path="t", order=1, question="Q?", render=lambda ws, state: None, least="reviewer")
    assert [r for r in ("reader", "volunteer", "reviewer", "manager") if page.needs(r)] == [
        "reviewer",
        "manager",
    ]  # type: ignore[arg-type]


def broken_page(kind: str) -> None:
    """Run inside AppTest: a page that goes wrong."""
    import types as t

    from fathomlight.errors import NotFoundError
    from fathomlight_dashboard.page import Page, show
    from fathomlight_dashboard.state import State

    def render(ws: object, state: object) -> None:
        if kind == "ours":
            raise NotFoundError(
                "there is no <b>such</b> station", where="the link", got="X", fix="Choose another."
            )
        raise ZeroDivisionError("secret detail of the inside")

    page = Page(title="Broken", path="broken", order=1, question="Q?", render=render)
    show(page, t.SimpleNamespace(invented=True, name="Demo"), State())  # type: ignore[arg-type]


def test_our_errors_say_what_where_and_what_to_do() -> None:
    at = AppTest.from_function(broken_page, kwargs={"kind": "ours"}).run()
    text = at.error[0].value
    assert "There is no" in text
    assert "Where: the link" in text
    assert "What to do: Choose another." in text
    assert "<b>such" not in text  # markup of data is not markup of ours
    assert not at.exception


def test_other_errors_never_show_their_inside(caplog: pytest.LogCaptureFixture) -> None:
    at = AppTest.from_function(broken_page, kwargs={"kind": "other"}).run()
    assert not at.exception
    assert "could not be drawn" in at.error[0].value
    assert "secret detail" not in at.error[0].value
    ticket = re.search(r"\*\*([0-9a-f]{6})\*\*", at.error[0].value)
    assert ticket
    assert ticket.group(1) in caplog.text
    assert "secret detail" in caplog.text


def test_invented_waters_are_labelled() -> None:
    at = AppTest.from_function(broken_page, kwargs={"kind": "ours"}).run()
    assert "Invented data" in at.caption[0].value


def choosing() -> None:
    """Run inside AppTest: a page with choices."""
    import streamlit as st

    from fathomlight_dashboard.state import State

    state = State()
    colour = state.choose("fruit", "Fruit", ["apple", "pear", "plum"], words=str.upper)
    size = state.choose("size", "Size", ["s", "l"], widget="segments")
    year = state.number("year", "Year", 2000, 2025, default=2020)
    on = state.toggle("on", "On")
    st.text(f"{colour} {size} {year} {on}")
    state.flush()


def test_the_address_is_the_truth() -> None:
    at = AppTest.from_function(choosing)
    at.query_params["fruit"] = "plum"
    at.query_params["year"] = "2010"
    at.query_params["on"] = "yes"
    at.run()
    assert at.text[0].value == "plum s 2010 True"
    assert at.selectbox[0].value == "plum"


def test_a_choice_goes_into_the_address_and_its_default_leaves_it() -> None:
    at = AppTest.from_function(choosing).run()
    assert at.text[0].value == "apple s 2020 False"
    assert dict(at.query_params) == {}
    at.selectbox[0].set_value("pear").run()
    at.number_input[0].set_value(2001).run()
    assert at.text[0].value == "pear s 2001 False"
    assert at.query_params["fruit"] == "pear"
    assert at.query_params["year"] == "2001"
    at.selectbox[0].set_value("apple").run()
    assert "fruit" not in at.query_params


@pytest.mark.parametrize("wrong", ["banana", "", "<script>", "apple\n"])
def test_a_wrong_link_falls_back(wrong: str) -> None:
    at = AppTest.from_function(choosing)
    at.query_params["fruit"] = wrong
    at.query_params["year"] = wrong
    at.run()
    assert not at.exception
    assert at.text[0].value == "apple s 2020 False"


def settings_of_the_file() -> dict[str, Any]:
    out: dict[str, Any] = {}

    def walk(table: dict[str, Any], name: str) -> None:
        for key, value in table.items():
            if isinstance(value, dict):
                walk(value, f"{name}{key}.")
            else:
                out[f"{name}{key}"] = str(value).lower() if isinstance(value, bool) else str(value)

    walk(tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8")), "")
    return out


def test_flags_and_settings_file_say_the_same() -> None:
    flags = dict(f.removeprefix("--").split("=", 1) for f in STREAMLIT_FLAGS)
    assert flags == settings_of_the_file()
    assert flags["server.address"] == "127.0.0.1"
    assert flags["browser.gatherUsageStats"] == "false"


def test_streamlit_knows_every_setting() -> None:
    from streamlit import config

    known = config.get_config_options()
    for flag in STREAMLIT_FLAGS:
        assert flag.removeprefix("--").split("=")[0] in known


def test_only_state_touches_the_session_and_only_data_caches() -> None:
    for path in FOLDER.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name != "state.py":
            assert "session_state" not in text, path.name
            assert "st.query_params" not in text, path.name
        if path.name != "data.py":
            assert "cache_data" not in text, path.name
            assert "cache_resource" not in text, path.name


def test_nothing_old_is_asked_of_streamlit() -> None:
    for path in FOLDER.rglob("*.py"):
        assert "use_container_width" not in path.read_text(encoding="utf-8"), path.name


def test_cached_answers_follow_the_data_version() -> None:
    from fathomlight_dashboard import data

    class Fake:
        root = "/somewhere"
        store = object()
        data_version = 1
        as_of = types.SimpleNamespace(isoformat=lambda: "2025-01-01")
        calls = 0

        def question(self, a: str, *, b: int) -> str:
            self.calls += 1
            return f"{a}{b}{self.data_version}"

    ws: Any = Fake()
    assert data.ask(ws, "question", "x", b=1) == "x11"
    assert data.ask(ws, "question", "x", b=1) == "x11"
    assert ws.calls == 1
    ws.data_version = 2
    assert data.ask(ws, "question", "x", b=1) == "x12"
    assert ws.calls == 2
