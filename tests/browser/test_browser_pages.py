"""Every page opens, at a desk and on a phone; links, clicks and uploads do what people expect."""

from __future__ import annotations

from typing import Any

import pytest

from fathomlight_dashboard.page import discover

PHONE = {"width": 390, "height": 844}

pytestmark = pytest.mark.browser

PATHS = [p.path for p in discover()]
VIEWS = {
    "station": ["year", "readings", "seasons", "profile", "light", "index", "compare"],
    "change": ["all", "one"],
    "add": ["visit", "file"],
    "check": ["suspect", "refused", "batches"],
    "fish": ["clarity", "catch", "sizes", "habitat"],
    "settings": ["now", "change", "earlier"],
}
KEYS = {"change": "scope", "add": "way"}
STATION = {"station": {"station": "VEL-1"}, "change": {"station": "TAN-1"}}
ASKED = [
    ("attention", {"try": "murky-for-the-season", "since": "2015-01-01"}),
    ("change", {"scope": "one", "station": "TAN-1", "detect": "yes", "smooth": "yes", "units": "us"}),
]
"""Answers that are worked out only when a reader asks for them."""


def cases() -> list[tuple[str, dict[str, str]]]:
    out: list[tuple[str, dict[str, str]]] = []
    for path in PATHS:
        views = VIEWS.get(path)
        more = STATION.get(path, {})
        out += [(path, {KEYS.get(path, "view"): v, **more}) for v in views] if views else [(path, {})]
    return out + ASKED


CASES = cases()
IDS = ["-".join([path, *params.values()]) for path, params in CASES]


@pytest.mark.parametrize(("path", "params"), CASES, ids=IDS)
def test_every_page_opens_at_a_desk_and_fits_a_phone(desk: Any, path: str, params: dict[str, str]) -> None:
    name = "-".join([path, *params.values()])
    tab = desk.open(path, **params)
    desk.drawn(path)
    desk.shoot(f"desk-{name}")
    tab.set_viewport_size(PHONE)
    tab = desk.open(path, **params)
    desk.drawn(path)
    assert tab.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"]
    assert tab.evaluate("() => document.querySelector('[data-testid=stMain]').scrollWidth") <= PHONE["width"]
    desk.shoot(f"phone-{name}")


def test_the_first_page_is_waters(desk: Any) -> None:
    desk.open("")
    desk.drawn("waters")
