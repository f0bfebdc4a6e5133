"""Login end to end: a real browser, a real server, an identity provider on the loopback.

What a token must hold, and what must be refused, follows OpenID Connect Core 1.0, section 3.1.3.7 (signature,
issuer, audience, end, nonce) and RFC 8725 (no unsigned token, no public key taken as a shared secret).
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from typing import Any

import pytest

from fathomlight import open_workspace

pytestmark = pytest.mark.browser

MANAGER, REVIEWER, VOLUNTEER = "manager@lakes.example", "reviewer@lakes.example", "volunteer@lakes.example"
DOOR = "Log in to see these waters."
ENDED = "Your session has ended. Log in again."
NO_RIGHTS = "You are logged in, but you have no rights in this workspace."
UNVERIFIED = "Your identity provider has not verified your e-mail address"


def with_login(site: Any, old: str, new: str) -> None:
    """Change one line of the ``[login]`` table while the server runs."""
    path = site.workspace / "config" / "workspace.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def try_to_withdraw(person: Any, before_pressing: Callable[[], None] = lambda: None) -> bool:
    """Press the button that withdraws the newest batch, if there is one; return whether there was."""
    person.open("check?view=batches")
    if not person.tab.get_by_label("Why").count():
        return False
    person.tab.get_by_label("Why").fill("not what was meant")
    person.tab.get_by_label("Why").press("Enter")
    person.settle()
    before_pressing()
    person.tab.get_by_role("button", name=re.compile(r"Withdraw batch|Put back batch")).first.click()
    person.tab.wait_for_timeout(800)
    person.settle()
    return True


def states(site: Any) -> list[str]:
    with open_workspace(site.workspace, read_only=True) as ws:
        return [str(s) for s in ws.batches()["state"]]


def trail(site: Any, action: str) -> list[str]:
    with open_workspace(site.workspace, read_only=True) as ws:
        return [str(w) for w in ws.audit_log(action=action)["who"]]


def test_nobody_gets_in_without_login(someone: Any) -> None:
    person = someone()
    for path in ("", "station", "check", "add"):
        person.open(path)
        assert DOOR in person.text()
        assert "Attention" not in person.text()
    assert person.tab.locator("[data-testid=stPageLink]").count() == 0


def test_a_volunteer_may_add_and_not_withdraw(someone: Any, guarded: Any) -> None:
    person = someone()
    person.log_in(VOLUNTEER)
    assert f"{VOLUNTEER} · volunteer" in person.menu()
    assert "Add readings" in person.menu()
    assert not try_to_withdraw(person)
    assert VOLUNTEER in trail(guarded, "login")
    # who loaded the other batches is nobody's business but a reviewer's
    assert "before@lakes.example" not in person.tab.content()


def test_a_reviewer_may_withdraw_until_the_role_is_taken_away(someone: Any, guarded: Any) -> None:
    person = someone()
    person.log_in(REVIEWER)
    assert f"{REVIEWER} · reviewer" in person.menu()
    before = states(guarded).count("withdrawn")
    assert try_to_withdraw(person)
    assert states(guarded).count("withdrawn") == before + 1
    assert REVIEWER in trail(guarded, "withdraw")
    then = states(guarded)

    def demote() -> None:
        with_login(
            guarded, f'email = "{REVIEWER}"\nrole = "reviewer"', f'email = "{REVIEWER}"\nrole = "volunteer"'
        )

    # same session, same token, the button already on the screen: the role counts from the next run on
    assert try_to_withdraw(person, demote)
    assert f"{REVIEWER} · volunteer" in person.menu()
    assert states(guarded) == then
    with_login(guarded, f'email = "{REVIEWER}"', 'email = "somebody@lakes.example"')
    person.open("check")
    assert NO_RIGHTS in person.text()


@pytest.mark.parametrize(
    ("email", "trail_seen", "settings_seen"),
    [(VOLUNTEER, False, False), (REVIEWER, True, False), (MANAGER, True, True)],
)
def test_who_did_what_and_the_settings_are_for_those_who_answer_for_them(
    someone: Any, guarded: Any, email: str, trail_seen: bool, settings_seen: bool
) -> None:
    before = (guarded.workspace / "config" / "alerts.toml").read_bytes()
    person = someone()
    person.log_in(email)
    assert ("Who did what" in person.menu()) is trail_seen
    assert ("Settings" in person.menu()) is settings_seen
    person.open("trail?deed=load")
    assert ("before@lakes.example" in str(person.tab.content())) is trail_seen
    assert ("This page takes the role reviewer or more" in person.text()) is not trail_seen
    person.open("settings?view=change&file=alerts.toml")
    assert (person.tab.get_by_label("Text of alerts.toml", exact=True).count() == 1) is settings_seen
    assert ("upper-arm-murky" in person.tab.content()) is settings_seen
    person.open("settings")
    assert (VOLUNTEER in person.tab.inner_text("[data-testid=stMain]")) is False
    assert (guarded.workspace / "config" / "alerts.toml").read_bytes() == before


def test_a_manager_whose_role_is_taken_away_saves_nothing(someone: Any, guarded: Any) -> None:
    path = guarded.workspace / "config" / "alerts.toml"
    before = path.read_text(encoding="utf-8")
    person = someone()
    person.log_in(MANAGER)
    person.open("settings?view=change&file=alerts.toml")
    person.tab.get_by_label("Text of alerts.toml", exact=True).fill(
        before.replace("below = 0.7 ", "below = 0.9 ")
    )
    person.press("Check this text")
    person.tab.get_by_label("Why", exact=True).fill("while nobody looks")
    with_login(guarded, f'email = "{MANAGER}"\nrole = "manager"', f'email = "{MANAGER}"\nrole = "reviewer"')
    person.tab.get_by_role("button", name=re.compile("Save alerts.toml")).click()
    person.tab.wait_for_timeout(800)
    person.settle()
    assert f"{MANAGER} · reviewer" in person.menu()
    assert path.read_text(encoding="utf-8") == before
    assert trail(guarded, "settings") == []


def test_a_manager_may_do_everything_and_leaves(someone: Any, guarded: Any) -> None:
    person = someone()
    person.log_in(MANAGER)
    assert f"{MANAGER} · manager" in person.menu()
    stolen = [c for c in person.context.cookies() if c["name"].startswith("_streamlit_user")]
    assert stolen
    assert all(c["httpOnly"] and c["sameSite"] == "Lax" for c in stolen)
    second = person.context.new_page()  # another tab of the same browser stays open
    second.goto(f"{guarded.url}/change")
    second.wait_for_selector("h1")
    left = guarded.provider.logouts
    person.tab.get_by_role("button", name=re.compile("Log out")).first.click()
    person.tab.wait_for_timeout(1500)
    person.settle()
    assert DOOR in person.text()
    assert guarded.provider.logouts == left + 1
    assert MANAGER in trail(guarded, "logout")
    assert not [c for c in person.context.cookies() if c["name"].startswith("_streamlit_user")]
    second.get_by_text("ft, °F").first.click()  # any interaction
    second.get_by_text(re.compile(f"{re.escape(ENDED)}|{re.escape(DOOR)}")).first.wait_for(timeout=20_000)
    person.context.add_cookies(stolen)  # a copied cookie is worth nothing after logout
    person.open()
    assert MANAGER not in person.text()
    assert "Attention" not in person.text()


def test_a_session_ended_in_one_process_is_ended_in_every_other(restarted: Any) -> None:
    """A cookie copied before the logout opens a process that did not see the login, and none after the logout."""
    person, another_process = restarted
    person.log_in(MANAGER)
    stolen = [c for c in person.context.cookies() if c["name"].startswith("_streamlit_user")]
    another_process()
    person.open()
    assert f"{MANAGER} · manager" in person.menu()
    person.tab.get_by_role("button", name=re.compile("Log out")).first.click()
    person.tab.wait_for_timeout(1500)
    person.settle()
    assert DOOR in person.text()
    another_process()
    person.context.add_cookies(stolen)
    person.open()
    person.tab.get_by_text(re.compile(f"{re.escape(ENDED)}|{re.escape(DOOR)}")).first.wait_for(timeout=20_000)
    assert MANAGER not in person.text()
    assert "Attention" not in person.text()
    with open_workspace(person.site.workspace, read_only=True) as ws, ws.store._db.session() as session:
        rows = session.rows("SELECT token FROM ended_token")
    assert len(rows) == 1
    assert re.fullmatch("[0-9a-f]{64}", rows[0][0])


@pytest.mark.parametrize("fault", ["signature", "expired"])
def test_a_false_token_opens_nothing(someone: Any, guarded: Any, fault: str) -> None:
    person = someone()
    given = guarded.provider.tokens_given
    person.log_in(MANAGER, fault=fault)
    assert guarded.provider.tokens_given == given + 1
    assert DOOR in person.text()
    assert MANAGER not in person.text()
    assert not [c for c in person.context.cookies() if c["name"].startswith("_streamlit_user")]


def test_an_unverified_address_opens_nothing(someone: Any) -> None:
    person = someone()
    person.log_in(MANAGER, email_verified=False)
    assert UNVERIFIED in person.text()
    assert "Attention" not in person.text()
    person.tab.get_by_role("button", name=re.compile("Log out")).first.click()
    person.tab.get_by_text(DOOR).wait_for(timeout=20_000)


def test_a_forged_cookie_opens_nothing(someone: Any, guarded: Any) -> None:
    person = someone()
    person.log_in(VOLUNTEER)
    cookies = [c for c in person.context.cookies() if c["name"] == "_streamlit_user"]
    value = cookies[0]["value"]
    middle = len(value) // 3
    cookies[0]["value"] = value[:middle] + ("A" if value[middle] != "A" else "B") + value[middle + 1 :]
    person.context.add_cookies(cookies)
    person.open()
    assert DOOR in person.text()


def test_a_session_ends_with_its_token(someone: Any, guarded: Any) -> None:
    person = someone()
    person.log_in(MANAGER, lifetime=10)
    assert f"{MANAGER} · manager" in person.menu()
    time.sleep(max(0.0, guarded.provider.last_end + 1 - time.time()))
    person.tab.get_by_text("ft, °F").first.click()
    person.tab.get_by_text(re.compile(f"{re.escape(ENDED)}|{re.escape(DOOR)}")).first.wait_for(timeout=20_000)
    person.tab.wait_for_timeout(1500)
    person.open()
    assert DOOR in person.text()  # the cookie is gone too, though it was made for 30 days


def test_unknown_people_and_the_public(someone: Any, guarded: Any) -> None:
    stranger = someone()
    stranger.log_in("stranger@elsewhere.example")
    assert NO_RIGHTS in stranger.text()
    with_login(guarded, 'unknown = "nobody"', 'unknown = "volunteer"')
    stranger.open()
    assert "stranger@elsewhere.example · volunteer" in stranger.menu()
    with_login(guarded, 'public = "nobody"', 'public = "reader"')
    public = someone()
    public.open()
    assert "Read only: you are not logged in." in public.menu()
    assert "Add readings" not in public.menu()
    assert not try_to_withdraw(public)
    for path in ("check?view=batches", "check?view=refused", "attention"):
        public.open(path)
        assert "@lakes.example" not in public.tab.content()


def test_the_log_tells_of_logins_and_of_nobody(guarded: Any, someone: Any) -> None:
    person = someone()
    person.log_in(REVIEWER)
    lines = [json.loads(line) for line in guarded.log_text().splitlines() if line.strip()]
    logins = [n for n in lines if n["logger"] == "fathomlight.login" and n["message"] == "login"]
    assert logins[-1]["role"] == "reviewer"
    assert re.fullmatch(r"[0-9a-f]{16}", logins[-1]["who"])
    assert [n for n in lines if "@" in json.dumps(n)] == []
    assert "lakes.example" not in guarded.log_text()
