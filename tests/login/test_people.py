"""Who is who: the ``[login]`` table, claims, and a workspace as one person may use it. No browser, no server."""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fathomlight import open_workspace
from fathomlight.config import load_config
from fathomlight.config_login import LoginTable, fold_email
from fathomlight.errors import ConfigError, NotAllowedError
from fathomlight.ingest import Visit
from fathomlight.workspace import Rights, Workspace
from fathomlight.workspace.rights import ROLES, person_of
from fathomlight_dashboard.logs import JsonLines

ROOT = Path(__file__).resolve().parents[2]
TABLE = LoginTable.model_validate(
    {
        "enabled": True,
        "unknown": "reader",
        "person": [
            {"email": "Manager@Lakes.example", "role": "manager"},
            {"email": "v@lakes.example", "role": "volunteer", "waters": ["tannerook"]},
        ],
        "claim": [
            {"name": "groups", "value": "crew", "role": "reviewer", "waters": ["tannerook"]},
            {"name": "groups", "value": "second crew", "role": "reviewer", "waters": ["vellumere"]},
            {"name": "hired", "value": "yes", "role": "volunteer"},
        ],
    }
)


def claims(email: object, **more: object) -> dict[str, Any]:
    return {"email": email, "email_verified": True, "exp": 100, **more}


@pytest.mark.parametrize(
    ("given_claims", "actor", "role", "waters", "problem"),
    [
        (None, "", None, None, ""),
        (claims("manager@lakes.example"), "manager@lakes.example", "manager", None, ""),
        (claims("MANAGER@lakes.EXAMPLE "), "manager@lakes.example", "manager", None, ""),
        (claims("v@lakes.example", groups=["crew"]), "v@lakes.example", "volunteer", {"tannerook"}, ""),
        (claims("c@lakes.example", groups=["crew"]), "c@lakes.example", "reviewer", {"tannerook"}, ""),
        (
            claims("c@lakes.example", groups=["crew", "second crew"], hired="yes"),
            "c@lakes.example", "reviewer", {"tannerook", "vellumere"}, "",
        ),
        (claims("c@lakes.example", groups="crew"), "c@lakes.example", "reviewer", {"tannerook"}, ""),
        (claims("c@lakes.example", groups="crews"), "c@lakes.example", "reader", None, "unknown"),
        (claims("manager@lakes.example", email_verified=False), "", None, None, "unverified"),
        (claims("manager@lakes.example", email_verified=1), "", None, None, "unverified"),
        (claims("manager@lakes.example", email_verified="false"), "", None, None, "unverified"),
        ({"email": "manager@lakes.example", "exp": 100}, "", None, None, "unverified"),
        (claims(None), "", None, None, "unverified"),
        (claims(["manager@lakes.example"]), "", None, None, "unverified"),
        (claims("manager@lakes.example", exp=50), "", None, None, "expired"),
        (claims("manager@lakes.example", exp=None), "", None, None, "expired"),
        (claims("manager@lakes.example", exp=True), "", None, None, "expired"),
        (claims("manager@lakes.example", exp="100"), "", None, None, "expired"),
        (claims("manager@lakes.example", exp=float("nan")), "", None, None, "expired"),
    ],
)  # fmt: skip
def test_claims_become_a_person(
    given_claims: Any, actor: str, role: str | None, waters: set[str] | None, problem: str
) -> None:
    person = person_of(TABLE, given_claims, now=50)
    assert (person.actor, person.problem) == (actor, problem)
    assert (person.rights.role if person.rights else None) == role
    assert (person.rights.waters if person.rights else None) == waters


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@given(
    st.dictionaries(
        st.sampled_from(["email", "email_verified", "exp", "groups", "hired", "sub"]),
        ANYTHING | st.sampled_from(["manager@lakes.example", "crew", "yes", "true", 10**9]),
    )
)
def test_whatever_a_token_holds_rights_need_address_verification_and_time(found: dict[str, Any]) -> None:
    person = person_of(TABLE, found, now=50.0)
    if person.actor:
        assert found["email_verified"] is True or found["email_verified"] == "true"
        assert found["exp"] > 50
        assert person.actor == fold_email(found["email"])
    else:
        assert person.rights is None  # what the public may: nothing here
    if person.rights is not None and person.rights.role == "manager":
        assert person.actor == "manager@lakes.example"


def test_letters_that_only_look_like_ascii_are_others() -> None:
    table = LoginTable.model_validate(
        {"enabled": True, "person": [{"email": "kim@lakes.example", "role": "manager"}]}
    )
    assert "\u212a".lower() == "k"  # the kelvin sign, which is why
    assert person_of(table, claims("\u212aim@lakes.example"), now=0).rights is None


def config_with(tmp_path: Path, text: str) -> Any:
    import shutil

    for name in ("config", "data"):
        shutil.copytree(ROOT / name, tmp_path / name)
    path = tmp_path / "config" / "workspace.toml"
    path.write_text(path.read_text(encoding="utf-8").split("\n[login]\n")[0] + text, encoding="utf-8")
    return load_config(tmp_path)


PERSON = '[[login.person]]\nemail = "a@lakes.example"\nrole = "manager"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("\n[login]\nenabled = true\n", "somebody who may log in"),
        ("\n[login]\nenabled = true\n" + PERSON + PERSON, "each address once"),
        ("\n[login]\nenabled = true\n" + PERSON + 'waters = ["atlantis"]\n', "atlantis"),
        ("\n[login]\nenabled = true\n" + PERSON.replace("manager", "boss"), "role"),
        ("\n[login]\nenabled = true\n" + PERSON.replace("a@lakes.example", "a lakes"), "e-mail address"),
        ('\n[login]\nenabled = true\npublic = "volunteer"\n' + PERSON, "public"),
        ('\n[login]\nenabled = true\nunknown = "manager"\n' + PERSON, "unknown"),
        ('\n[login]\nenabled = true\nclient_secret = "x"\n' + PERSON, "client_secret"),
        ('\n[login]\nenabled = true\nprovider = "a_b"\n' + PERSON, "provider"),
    ],
)
def test_a_wrong_table_is_refused_by_name(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(ConfigError, match=r"workspace\.toml") as error:
        config_with(tmp_path, text)
    assert says in str(error.value)


def test_the_example_in_the_demo_settings_is_off_and_good_once_the_marks_are_taken_away(
    tmp_path: Path,
) -> None:
    text = (ROOT / "config" / "workspace.toml").read_text(encoding="utf-8")
    _, example = text.split("\n# [login]\n")
    assert not load_config(ROOT).login.enabled
    lines = [line.removeprefix("#").removeprefix(" ") for line in example.splitlines()]
    login = config_with(tmp_path, "\n[login]\n" + "\n".join(lines)).login
    assert login.enabled
    assert [(p.email, p.role) for p in login.person] == [
        ("manager@lakes.example", "manager"), ("volunteer@lakes.example", "volunteer"),
    ]  # fmt: skip
    assert login.person[1].waters == ("tannerook",)


def test_without_a_table_there_is_no_login(tmp_path: Path) -> None:
    assert not config_with(tmp_path, "").login.enabled


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Workspace]:
    """Return a workspace without readings."""
    config_with(tmp_path, "")
    with open_workspace(tmp_path) as ws:
        yield ws


def visit(day: str, station: str = "TAN-1") -> Visit:
    return Visit(station=station, date=day, disc_down=2.0, disc_unit="m")


def test_each_person_acts_under_their_own_name_at_the_same_time(small: Workspace) -> None:
    def add(name: str, days: list[str]) -> None:
        view = small.acting_as(name, Rights("volunteer"))
        for day in days:
            view.add_visit(visit(day))

    days = {n: [f"2025-0{m}-0{d}" for d in range(1, 6)] for n, m in (("a@x.example", 6), ("b@x.example", 7))}
    threads = [threading.Thread(target=add, args=item) for item in days.items()]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    readings = small.readings("TAN-1", "secchi").merge(small.batches()[["batch", "who"]], on="batch")
    found = {n: sorted(d.strftime("%Y-%m-%d") for d in g["local_date"]) for n, g in readings.groupby("who")}
    assert found == days
    assert (small.actor, small.rights.role) == ("", "manager")


def test_a_view_shares_memory_and_never_closes_the_store(small: Workspace) -> None:
    with small.acting_as("a@x.example", Rights("reader")) as view:
        made = view.remember(("something",), lambda: object())
    assert small.remember(("something",), lambda: object()) is made
    assert small.recipes is view.recipes
    assert small.data_version >= 0


@pytest.mark.parametrize("role", ROLES)
def test_a_refusal_is_written_down(small: Workspace, role: Any) -> None:
    batch = small.add_visit(visit("2025-07-01")).batch
    assert batch is not None
    view = small.acting_as("p@x.example", Rights(role, frozenset({"vellumere"})))
    for deed in (lambda: view.add_visit(visit("2025-07-02")), lambda: view.withdraw(batch, "forced")):
        with pytest.raises(NotAllowedError):
            deed()
    assert small.batches()["state"].tolist() == ["active"]
    log = small.audit_log(action="refused")
    assert log["who"].tolist() == ["p@x.example"] * 2
    assert role in str(log["detail"].iloc[0])


@pytest.mark.parametrize("role", ["reader", "volunteer"])
def test_the_trail_is_for_reviewers_and_managers(small: Workspace, role: Any) -> None:
    for view in (small.acting_as("p@x.example", Rights(role)), small.acting_as("", Rights("reader"))):
        with pytest.raises(NotAllowedError):
            view.audit_log()
    assert small.acting_as("r@x.example", Rights("reviewer")).audit_log().empty


def test_readers_change_nothing(small: Workspace) -> None:
    small.add_visit(visit("2025-07-01"))
    view = small.acting_as("", Rights("reader"))
    with pytest.raises(NotAllowedError):
        view.evaluate_alerts()
    with pytest.raises(NotAllowedError):
        view.add_visit(visit("2025-07-02"))
    assert len(view.readings("TAN-1", "secchi")) == 1


def test_names_are_for_reviewers_and_for_oneself(small: Workspace) -> None:
    for name in ("a@x.example", "b@x.example"):
        small.acting_as(name, Rights("volunteer")).add_visit(
            visit("2025-07-01" if "a@" in name else "2025-07-02")
        )

    def seen(actor: str, role: Any) -> list[str]:
        return sorted(small.acting_as(actor, Rights(role)).batches()["who"])

    assert seen("", "reader") == ["", ""]
    assert seen("a@x.example", "reader") == ["", "a@x.example"]
    assert seen("a@x.example", "volunteer") == ["", "a@x.example"]
    assert seen("c@x.example", "reviewer") == ["a@x.example", "b@x.example"]
    table = pd.DataFrame({"seen_by": ["a@x.example"], "seen_note": ["went there"], "state": ["seen"]})
    hidden = small.acting_as("", Rights("reader")).without_people(table)
    assert hidden.to_dict("records") == [{"seen_by": "", "seen_note": "", "state": "seen"}]


def test_a_json_line_tells_where_an_error_was_and_not_what_it_said() -> None:
    try:
        raise ValueError("observer ana@lakes.example wrote 3,2")
    except ValueError:
        import sys

        info = sys.exc_info()
    record = logging.LogRecord("fathomlight.x", 40, "f", 1, "failed for ana@lakes.example", (), info)
    line = json.loads(JsonLines().format(record))
    assert line["message"] == "failed for (address)"
    assert line["error"] == "ValueError"
    assert "ana" not in json.dumps(line)
    assert "\n" not in JsonLines().format(record)
