"""No grave fault for people who read by ear, by key or with weak eyes: the engine axe-core, and the keyboard.

axe-core is a file of JavaScript from npm, found through the environment variable ``FATHOMLIGHT_AXE`` or in
``node_modules`` at the top of the source tree (``npm install --no-save axe-core``). It checks the rules of WCAG 2
and of good practice; a fault has an impact (minor, moderate, serious, critical): all but minor ones count here.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from fathomlight_dashboard.page import discover

pytestmark = pytest.mark.browser

DESK = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}
GRAVE = {"moderate", "serious", "critical"}

NOT_OURS: dict[tuple[str, str], str] = {}
"""Faults inside the framework's own parts that we cannot mend, by (rule, part of the selector), with the reason.

None is known: the framework's pale small print is made darker by ``widgets.style``.
"""

VIEWS = ("year", "readings", "seasons", "profile", "index", "compare")
CASES: list[tuple[str, dict[str, str]]] = [
    *[("station", {"station": "VEL-1", "view": v}) for v in VIEWS],
    *[("change", {"scope": v, "station": "TAN-1"}) for v in ("all", "one")],
    *[("add", {"way": v}) for v in ("visit", "file")],
    *[("check", {"view": v}) for v in ("suspect", "refused", "batches")],
    *[("fish", {"view": v}) for v in ("clarity", "catch", "sizes", "habitat")],
    *[("settings", {"view": v, "file": "alerts.toml"}) for v in ("now", "change", "earlier")],
]  # fmt: skip
CASES += [(p.path, {}) for p in discover() if p.path not in {path for path, _ in CASES}]


@pytest.fixture(scope="session")
def axe() -> str:
    """Return the text of the engine."""
    tree = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
    path = Path(os.environ.get("FATHOMLIGHT_AXE") or tree)
    if not path.is_file():
        pytest.skip(f"no axe-core at {path}: npm install --no-save axe-core, or set FATHOMLIGHT_AXE")
    return path.read_text("utf-8")


def faults(tab: Any, axe: str) -> list[str]:
    """Return the grave faults of what a tab shows, each with its rule, place and remedy."""
    tab.evaluate(axe)
    found = tab.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    assert len(found["passes"]) > 10, "axe-core looked at nothing"
    out = []
    for rule in found["violations"]:
        if rule["impact"] not in GRAVE:
            continue
        for node in rule["nodes"]:
            place = " ".join(str(t) for t in node["target"])
            if not any(rule["id"] == r and part in place for r, part in NOT_OURS):
                out.append(f"{rule['id']} at {node['html'][:160]}: {node.get('failureSummary', '')}")
    return out


@pytest.mark.parametrize(("path", "params"), CASES, ids=["-".join([p, *q.values()]) for p, q in CASES])
def test_no_grave_fault_at_a_desk_and_on_a_phone(
    desk: Any, axe: str, path: str, params: dict[str, str]
) -> None:
    tab = desk.open(path, **params)
    desk.drawn(path)
    bad = [f"desk: {f}" for f in faults(tab, axe)]
    tab.set_viewport_size(PHONE)
    desk.settle()
    bad += [f"phone: {f}" for f in faults(tab, axe)]
    assert not bad, "\n".join(bad)


DARK = [(p.path, {}) for p in discover() if p.path != "add"] + [
    ("add", {"way": "visit"}), ("add", {"way": "file"}), ("settings", {"view": "change"}),
    ("check", {"view": "batches"}),
]  # fmt: skip


@pytest.mark.parametrize(("path", "params"), DARK, ids=["-".join([p, *q.values()]) for p, q in DARK])
def test_no_grave_fault_in_the_dark(desk: Any, axe: str, path: str, params: dict[str, str]) -> None:
    desk.tab.emulate_media(color_scheme="dark")
    tab = desk.open(path, **params)
    desk.drawn(path)
    bad = faults(tab, axe)
    assert not bad, "\n".join(bad)


def test_the_engine_finds_what_is_there(desk: Any, axe: str) -> None:
    """A picture without words and pale print put onto the page are found: the check can fail."""
    tab = desk.open("methods")
    tab.evaluate(
        "() => { const main = document.querySelector('[data-testid=stMain]');"
        ' main.insertAdjacentHTML(\'afterbegin\', \'<img src="data:," width="20" height="20">'
        '<p style="color:#bbb;background:#fff">pale print</p>\'); }'
    )
    found = " ".join(faults(tab, axe))
    assert "image-alt" in found
    assert "color-contrast" in found


def _label(tab: Any) -> dict[str, str]:
    """Return what has the focus."""
    return dict(
        tab.evaluate(
            "() => { const e = document.activeElement; if (!e || e === document.body) return {};"
            " const box = e.getBoundingClientRect();"
            " return {tag: e.tagName, text: (e.innerText || '').trim(), name: e.getAttribute('aria-label') || '',"
            " area: e.closest('[data-testid=stSidebar]') ? 'menu' : e.closest('[data-testid=stMain]') ? 'page' : '',"
            " kind: e.closest('[data-testid]')?.dataset.testid || '', seen: String(box.width > 0 && box.height > 0)}; }"
        )
    )


def _walk(tab: Any, most: int) -> list[dict[str, str]]:
    out = []
    for _ in range(most):
        tab.keyboard.press("Tab")
        out.append(_label(tab))
    return out


def test_the_keyboard_reaches_the_menu_and_every_control(desk: Any) -> None:
    """Tab alone reaches every line of the menu and the controls of the page, in that order of the page."""
    tab = desk.open("station", station="VEL-1", view="readings")
    stops = _walk(tab, 60)
    menu = [s["text"] for s in stops if s.get("area") == "menu"]
    for page in discover():
        assert any(page.title in text for text in menu), f"{page.title} is not reached: {menu}"
    inputs = [s["name"] for s in stops if s.get("area") == "page" and s["tag"] == "INPUT"]
    assert any("Station" in name for name in inputs), inputs
    assert any("Parameter" in name for name in inputs), inputs
    buttons = {s["text"] for s in stops if s.get("area") == "page" and s["tag"] == "BUTTON"}
    assert any("Download this table" in b for b in buttons), buttons
    kinds = {s.get("kind") for s in stops if s.get("area") == "page"}
    assert {"stButtonGroup", "stCheckbox", "stExpander"} <= kinds, "view, switch and period are not reached"


def test_a_page_is_opened_and_a_view_chosen_by_keyboard_alone(desk: Any) -> None:
    tab = desk.open("waters")
    for _ in range(40):
        tab.keyboard.press("Tab")
        here = _label(tab)
        if here.get("area") == "menu" and here["text"].startswith("Change"):
            break
    tab.keyboard.press("Enter")
    tab.wait_for_function("() => document.querySelector('h1')?.innerText === 'Change'", timeout=60_000)
    desk.settle()
    assert "/change" in tab.url
    for _ in range(60):
        tab.keyboard.press("Tab")
        here = _label(tab)
        if here.get("area") == "page" and here.get("text") == "All stations":
            break
    tab.keyboard.press("ArrowRight")  # the two are radio buttons: the arrows go from one to the other
    assert _label(tab).get("text") == "One station"
    tab.keyboard.press("Space")
    tab.wait_for_function("() => location.search.includes('scope=one')", timeout=60_000)


def test_the_focus_can_be_seen(desk: Any) -> None:
    """Whatever has the focus looks different from when it has not."""
    tab = desk.open("station", station="VEL-1")
    for _ in range(80):
        tab.keyboard.press("Tab")
        here = _label(tab)
        if here.get("area") == "menu" and here["text"] == "Change":
            break
    look = (
        "e => { const s = getComputedStyle(e);"
        " return [s.outlineStyle, s.outlineWidth, s.boxShadow, s.borderColor, s.backgroundColor].join('|'); }"
    )
    link = tab.evaluate_handle("() => document.activeElement")
    tab.wait_for_timeout(300)
    focused = link.evaluate(look)
    link.evaluate("e => e.blur()")
    tab.wait_for_timeout(300)
    assert link.evaluate(look) != focused
