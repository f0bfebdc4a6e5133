"""Links, clicks, uploads and the form do what people expect of them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_a_click_on_the_map_opens_the_station(desk: Any) -> None:
    tab = desk.open("waters")
    mark = tab.locator(".js-plotly-plot .scatterlayer .point").first
    box = mark.bounding_box()
    tab.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.wait_for_url(re.compile(r"/station\?.*station="), timeout=30_000, wait_until="commit")
    desk.settle()
    desk.drawn("station")


def chosen(tab: Any, label: str) -> str:
    """What stands in a list of choices."""
    box = tab.locator("[data-testid=stSelectbox]").filter(has_text=label).first
    return str(box.inner_text() + box.locator("input").first.input_value())


def test_a_link_carries_the_whole_view(desk: Any) -> None:
    tab = desk.open("station", station="VEL-2", view="readings", units="us")
    assert "Vellumere north arm" in chosen(tab, "Station")
    text = tab.inner_text("[data-testid=stMain]")
    assert "ft on" in text
    assert "Drag along the picture" in text


def test_a_station_may_be_named_by_its_alias(desk: Any) -> None:
    tab = desk.open("station", station="VEL2")
    assert "Vellumere north arm" in chosen(tab, "Station")
    tab.wait_for_url(re.compile("station=VEL-2"), timeout=30_000, wait_until="commit")


def test_a_wrong_link_is_told(desk: Any) -> None:
    tab = desk.open("station", station="NOWHERE")
    assert "names a station that is not here" in tab.inner_text("[data-testid=stMain]")


def test_the_back_button_works(desk: Any) -> None:
    tab = desk.open("station", station="VEL-1")
    tab.get_by_role("button", name="Seasons").or_(tab.get_by_role("radio", name="Seasons")).first.click()
    tab.wait_for_url(re.compile("view=seasons"), timeout=30_000, wait_until="commit")
    desk.settle()
    tab.go_back()
    tab.wait_for_function("() => !location.search.includes('view=seasons')", timeout=30_000)
    desk.settle()
    assert "Drag along" not in tab.inner_text("[data-testid=stMain]")
    assert "10th to 90th percentile" in tab.inner_text("[data-testid=stMain]")


def test_the_menu_takes_the_station_along(desk: Any) -> None:
    tab = desk.open("station", station="TAN-1")
    tab.locator("[data-testid=stSidebar]").get_by_role("link", name="Change").click()
    tab.wait_for_url(re.compile(r"/change\?.*station=TAN-1"), timeout=30_000, wait_until="commit")


def upload(watched: Any, name: str, content: bytes) -> Any:
    tab = watched.open("add", way="file")
    tab.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": content}
    )
    tab.wait_for_timeout(500)
    watched.settle()
    return tab


def test_a_good_file_is_checked_then_loaded_then_known(desk: Any, root: Path) -> None:
    content = (root / "data" / "hold_back" / "good_week.csv").read_bytes()
    tab = upload(desk, "good_week.csv", content)
    main = tab.locator("[data-testid=stMain]")
    assert "would be new" in main.inner_text()
    desk.shoot("desk-add-good-file")
    tab.get_by_role("button", name="Load these readings").click()
    main.get_by_text(re.compile(r"Batch \d+:")).wait_for(timeout=60_000)
    tab = upload(desk, "good_week.csv", content)
    assert "nothing new in this file" in tab.inner_text("[data-testid=stMain]")


def test_a_bad_file_says_which_rows_and_why(desk: Any, root: Path) -> None:
    content = (root / "data" / "hold_back" / "bad_week.csv").read_bytes()
    tab = upload(desk, "bad_week.csv", content)
    text = tab.inner_text("[data-testid=stMain]")
    assert "Refused" in text
    assert re.search(r"[1-9]\d* refused", text)
    desk.shoot("desk-add-bad-file")
    with tab.expect_download() as waiting:
        tab.get_by_role("button", name="Download this table").first.click()
    table = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    assert "What to do" in table.splitlines()[0]
    assert len(table.splitlines()) >= 2


def test_a_file_that_is_no_table_is_refused_in_words(desk: Any) -> None:
    tab = upload(desk, "picture.csv", bytes(range(256)) * 40)
    text = tab.inner_text("[data-testid=stMain]")
    assert "What to do" in text or "Expected" in text
    assert "Traceback" not in text


ODD_FILE = b"""Where,Sampled,Disc seen to,On bottom?,Remarks
Vellumere deep hole,03/04/2025,21,n,windy
Pindlewick bay centre,05/06/2025,5.5,y,
"""
"""Invented; no ready recipe reads it, its dates can be read two ways, and it does not say its unit."""


def test_a_file_no_recipe_fits_is_asked_about_then_loaded(desk: Any, phone: Any) -> None:
    upload(phone, "odd cards.csv", ODD_FILE)
    phone.shoot("phone-add-questions")
    tab = upload(desk, "odd cards.csv", ODD_FILE)
    main = tab.locator("[data-testid=stMain]")
    assert "No ready recipe reads this file" in main.inner_text()
    assert "3 questions still to answer" in main.inner_text()
    assert tab.locator("[data-testid=stRadio] input:checked").count() == 0  # nothing is chosen silently
    assert tab.get_by_role("button", name="Load these readings").count() == 0
    for choice in ("03/04/2025 is 3 Apr 2025", "ft", "Yes, the disc was seen on the bottom"):
        tab.locator("[data-testid=stRadio]").get_by_text(choice, exact=True).click()
        desk.settle()
    main.get_by_text("2 values would be stored").wait_for(timeout=60_000)
    desk.shoot("desk-add-answered")
    tab.get_by_role("button", name="Load these readings").click()
    main.get_by_text(re.compile(r"Batch \d+:")).wait_for(timeout=60_000)


def test_a_wrongly_taken_column_is_set_right_with_the_keyboard(desk: Any, phone: Any) -> None:
    content = b"Stn,When,Depth,Remarks\nVellumere deep hole,2025-06-05,18,windy\n"
    upload(phone, "cards.csv", content)
    assert phone.tab.evaluate("() => document.documentElement.scrollWidth") <= 390
    phone.shoot("phone-add-columns")
    tab = upload(desk, "cards.csv", content)
    main = tab.locator("[data-testid=stMain]")
    assert "No column is a measured value" in main.inner_text()
    assert "windy" not in main.inner_text()  # comments can hold names
    box = tab.get_by_role("combobox", name="What “Depth” is")
    box.focus()
    box.press("ArrowDown")
    box.press_sequentially("Disc depth")
    box.press("Enter")
    main.get_by_text("What unit is “Depth” in?").wait_for(timeout=60_000)
    desk.settle()
    tab.locator("[data-testid=stRadio]").get_by_text("ft", exact=True).click()
    desk.settle()
    main.get_by_text("1 value would be stored").wait_for(timeout=60_000)
    desk.shoot("desk-add-columns")


def test_one_visit_from_a_phone(phone: Any) -> None:
    tab = phone.open("add", way="visit", station="PIN-1")
    tab.locator("[data-testid=stDateInput] [role=spinbutton]").first.click()
    tab.keyboard.type("20250920")
    tab.get_by_role("spinbutton", name="Disc disappears at").fill("1.7")
    tab.get_by_text("The disc was still in sight on the bottom").click()
    tab.get_by_role("button", name="Check this visit").click()
    tab.get_by_role("button", name="Save this visit").wait_for(timeout=60_000)
    phone.settle()
    assert "> 1.7 m" in tab.inner_text("[data-testid=stMain]")
    phone.shoot("phone-add-visit-checked")
    tab.get_by_role("button", name="Save this visit").click()
    tab.get_by_text(re.compile(r"Saved as batch \d+")).wait_for(timeout=60_000)


def test_the_units_switch_changes_what_is_shown(desk: Any) -> None:
    tab = desk.open("waters")
    side = tab.locator("[data-testid=stSidebar]")
    side.get_by_text("ft, °F").click()
    tab.wait_for_url(re.compile("units=us"), timeout=30_000, wait_until="commit")
    desk.settle()
    assert "miles" in tab.locator(".js-plotly-plot").first.inner_text()


def test_keyboard_reaches_menu_and_choices(desk: Any) -> None:
    tab = desk.open("waters")
    reached = set()
    for _ in range(40):
        tab.keyboard.press("Tab")
        reached.add(
            tab.evaluate("() => document.activeElement.closest('[data-testid]')?.dataset.testid || ''")
        )
    assert any("PageLink" in r for r in reached)
    assert any("Selectbox" in r or "selectbox" in r.lower() for r in reached)


def test_dragging_along_the_readings_picks_a_period(desk: Any) -> None:
    tab = desk.open("station", station="VEL-1", view="readings")
    box = tab.locator(".js-plotly-plot .nsewdrag").first.bounding_box()
    tab.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 100)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 120, steps=8)
    tab.mouse.up()
    tab.wait_for_url(re.compile(r"from=\d{4}-\d\d-\d\d.*to=\d{4}"), timeout=30_000, wait_until="commit")
    tab.get_by_role("button", name="Show the whole record").click()
    tab.wait_for_function("() => !location.search.includes('from=')", timeout=30_000)
