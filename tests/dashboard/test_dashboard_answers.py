"""The finer answers of the pages agree with what the workspace answers."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from fathomlight import open_workspace
from fathomlight.errors import NotAllowedError


def button(at: Any, label: str) -> Any:
    return next(b for b in at.button if b.label == label)


def test_a_rule_can_be_tried_on_the_past(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention")
    assert "try picture" not in str(at.get("plotly_chart"))
    at.selectbox(key="choice of try").set_value("murky-for-the-season").run()
    answer = demo.try_rule("murky-for-the-season", f"{demo.as_of.year - 5}-01-01")
    assert answer.fired > 1
    text = said(at)
    assert f"would have asked for attention {answer.fired} times" in text
    assert f"at {len(answer.per_station)} stations" in text
    real = [e for e in answer.episodes if e.aspect != "check"]
    assert len(at.dataframe[-1].value) == len(real)
    at = open_page("attention", **{"try": "murky-for-the-season", "since": "2012-01-01"})
    earlier = demo.try_rule("murky-for-the-season", "2012-01-01")
    assert earlier.fired > answer.fired
    assert f"{earlier.fired} times" in said(at)


def test_keys_of_the_configuration_are_put_in_words(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention", span="all", **{"try": "trophic-class-changed"})
    text = said(at) + "".join(frame.value.to_string() for frame in at.dataframe)
    assert "tsi_" not in text
    assert "index from disc depth" in text


def test_a_date_to_come_is_not_tried(demo: Any, open_page: Any, said: Any) -> None:
    at = open_page("attention", **{"try": "river-storm", "since": "2099-01-01"})
    assert "Choose a date before" in said(at)


def few_and_enough(demo: Any) -> tuple[pd.DataFrame, pd.DataFrame]:
    table = demo.trends("secchi")
    enough = table["p"].notna() & (table["n_years"] >= 5)
    return table[~enough], table[enough]


def test_short_records_are_named_and_left_out(demo: Any, open_page: Any, said: Any) -> None:
    few, enough = few_and_enough(demo)
    assert len(few)
    assert len(enough)
    at = open_page("change")
    text = said(at)
    assert f"Of {len(enough)} stations with enough years" in text
    assert f"{len(enough)} stations with enough years:" in text  # under the ranked picture
    for row in few.itertuples():
        assert f"{row.name} ({row.n_years} years)" in text
    table = at.dataframe[-1].value.set_index("Station")
    assert (table.loc[few["name"], "Direction"] == "too few years").all()
    assert "1 too few years" in text  # on the map


def test_the_map_of_change_counts_as_the_sentence_does(demo: Any, open_page: Any, said: Any) -> None:
    _, enough = few_and_enough(demo)
    sure = enough[enough["p_adjusted"] < 0.05]
    counts = sure["clarity"].value_counts()
    text = said(open_page("change"))
    assert f"{counts['clearer']} getting clearer, {counts['murkier']} getting murkier" in text


def test_a_short_record_has_no_direction(demo: Any, open_page: Any, said: Any) -> None:
    few, _ = few_and_enough(demo)
    text = said(open_page("change", scope="one", station=few["station"].iloc[0]))
    assert "too few to speak of a trend" in text
    assert "likely" not in text
    assert "detectable" not in text


@pytest.mark.parametrize(("units", "factor", "unit"), [("metric", 1.0, "m"), ("us", 1 / 0.3048, "ft")])
def test_what_would_be_detectable(
    demo: Any, open_page: Any, said: Any, units: str, factor: float, unit: str
) -> None:
    at = open_page("change", scope="one", station="TAN-1", units=units)
    assert "of sampling would find" not in said(at)  # only when asked for
    at.toggle(key="choice of detect").set_value(True).run()
    answer = demo.detectable("TAN-1", "secchi", within_years=10)
    text = said(at)
    assert f"a change of {10 * answer.slope * factor:.2f} {unit} a decade or more" in text
    assert f"needs {answer.years_needed} years" in text
    rows = at.dataframe[-1].value.set_index("What")["Value"]
    assert rows["Noise (standard deviation)"] == f"{answer.noise_sd * factor:.2f} {unit}"


def test_the_smooth_line_is_drawn_only_when_asked_for(demo: Any, open_page: Any, said: Any) -> None:
    def drawn(at: Any) -> str:
        said(at)
        return "".join(c.proto.spec for c in at.get("plotly_chart"))

    assert "for the eye" not in drawn(open_page("change", scope="one", station="TAN-1"))
    assert "for the eye" in drawn(open_page("change", scope="one", station="TAN-1", smooth="yes"))


ODD = """Where,Sampled,Disc seen to,On bottom?,Surface temp,Remarks
Vellumere deep hole,03/04/2025,21,n,5.1,windy
Vellumere deep hole,05/06/2025,18,n,14.2,
Pindlewick bay centre,05/06/2025,5.5,y,17.0,calm
Pindlewick bay centre,07/08/2025,5.0,y,22.5,
"""
"""Invented; columns no ready recipe knows, dates that can be read two ways, no unit anywhere."""


def answer(at: Any, label: str, value: str) -> None:
    next(r for r in [*at.radio, *at.selectbox] if label in r.label).set_value(value)


def column(at: Any, name: str) -> Any:
    """Return the list of what a column can be."""
    return next(s for s in at.selectbox if s.label == f"What “{name}” is")


def test_a_file_no_recipe_fits_is_asked_about_then_loaded(own: Any, open_page: Any, said: Any) -> None:
    at = open_page("add", way="file")
    at.file_uploader[0].upload("odd week.csv", ODD.encode(), "text/csv").run()
    text = said(at)
    assert column(at, "Disc seen to").value == "value secchi"
    assert own.parameters["secchi"].label in column(at, "Disc seen to").options
    shown = "\n".join(m.value for m in at.markdown)
    assert "**Remarks**" in shown
    assert "windy" not in shown  # comments can hold names
    asked = [r for r in at.radio if r.value is None and r.label != "What do you have?"]
    assert len(asked) == 4  # day or month first, two units, the bottom
    assert "4 questions still to answer" in text
    assert not [b for b in at.button if b.label == "Load these readings"]
    answer(at, "day or the month", "%d/%m/%Y")
    answer(at, "Disc seen to", "ft")
    answer(at, "on the bottom?", "yes")
    at.run()
    assert "1 question still to answer" in said(at)
    answer(at, "Surface temp", "degC")
    at.run()
    assert "**8** new" in said(at)
    button(at, "Load these readings").click().run()
    said(at)
    rows = own.readings(["PIN-1", "VEL-1"], ["secchi"])
    loaded = rows[rows["batch"] == rows["batch"].max()].sort_values(["station", "local_date"])
    assert [str(d.date()) for d in loaded["local_date"]] == [
        "2025-06-05",
        "2025-08-07",
        "2025-04-03",
        "2025-06-05",
    ]
    assert loaded["qualifier"].tolist() == [">", ">", "=", "="]
    assert loaded["value"].tolist() == pytest.approx([5.5 * 0.3048, 5.0 * 0.3048, 21 * 0.3048, 18 * 0.3048])


def test_answers_are_kept_as_a_recipe_that_asks_no_more(own: Any, open_page: Any, said: Any) -> None:
    at = open_page("add", way="file")
    at.file_uploader[0].upload("odd week.csv", ODD.encode(), "text/csv").run()
    for label, value in (
        ("day or the month", "%d/%m/%Y"), ("Disc seen to", "ft"), ("on the bottom?", "no"), ("Surface temp", "degC"),
    ):  # fmt: skip
        answer(at, label, value)
    at.run()
    at.text_input(key="recipe name").set_value("Odd cards")
    button(at, "Keep this recipe").click().run()
    assert "config/recipes/odd-cards.toml" in said(at)
    assert "questions" not in "".join(s.value for s in at.header)
    with open_workspace(own.root, read_only=True) as again:
        recipe = again.recipe("odd-cards")
        assert recipe.time.formats == ("%d/%m/%Y",)
        assert not recipe.values[0].qualifier_column


def test_a_volunteer_cannot_keep_a_recipe(own: Any, open_page: Any) -> None:
    from fathomlight.workspace.rights import Rights
    from fathomlight_dashboard.add_propose import keep_recipe

    one = own.acting_as("someone", Rights("volunteer"))
    with pytest.raises(NotAllowedError):
        keep_recipe(one, own.recipe(next(iter(own.recipes))), "mine", "")
    assert not (own.root / "config" / "recipes" / "mine.toml").exists()


def test_every_question_has_choices(own: Any, tmp_path: Any) -> None:
    from fathomlight_dashboard.add_asks import answered, asks, together

    path = tmp_path / "long.csv"
    path.write_text(
        "Place,Day,Time,Analyte,Result\n"
        "Vellumere deep hole,2025-06-05,10:00,Secchi,4.0\n"
        "Nowhere pond,2025-06-05,10:30,Sparkle,7\n"
        "Elsewhere pond,2025-06-06,10:30,Temp,12\n"
    )
    proposal = own.propose(path)
    found = asks(own, proposal)
    assert len(found) >= len(proposal.questions)
    assert all(len(a.words) >= 2 for a in found)
    texts = [a.text for a in found]
    assert "Which station is “Nowhere pond”?" in texts
    answers = {
        "Which station is “Nowhere pond”?": "PIN-1",
        "What is “Secchi”?": "secchi",
        "What is “Temp”?": "",
    }
    parts = [a.change(answers[a.text]) for a in found if a.text in answers]
    recipe = answered(proposal, together(parts), "mine")
    assert recipe.station.aliases == {"Nowhere pond": "PIN-1"}
    assert dict(recipe.values[0].parameters) == {"Secchi": ("secchi",)}
    assert {"Temp", "Sparkle"} <= set(recipe.values[0].skip_parameters)


def test_habitat_is_told_in_the_chosen_units(demo: Any, open_page: Any, said: Any) -> None:
    water = next(iter(w for w, x in demo.waters.items() if x.depth_areas))
    answer = demo.habitat(water, "walleye")
    hectares = answer.yearly[answer.yearly["covered"].astype(bool)]["area_ha"].iloc[-1]
    text = said(open_page("fish", view="habitat", water=water))
    assert f"{hectares:.1f} ha of bed with the light and warmth" in text
    assert answer.sentence.split(",")[0].split(":")[0] in text
    text = said(open_page("fish", view="habitat", water=water, units="us"))
    assert f"{hectares * 2.4710538:.1f} acres of bed" in text  # 1 ha = 2.471 acres (definition of the acre)
    assert "With 3.3 ft more of clarity" in text
    assert " ha " not in text


def test_the_clarity_of_most_fish_is_told_in_the_chosen_units(demo: Any, open_page: Any, said: Any) -> None:
    effect = demo.clarity_effect("walleye", "gill net", window=demo.windows()[0])
    assert effect.optimum is not None
    assert f"highest near {effect.optimum.clarity:.1f} m" in said(open_page("fish"))
    text = said(open_page("fish", units="us"))
    assert f"highest near {effect.optimum.clarity / 0.3048:.1f} ft" in text


def test_what_asked_for_attention_is_told_in_the_readers_units(demo: Any, open_page: Any, said: Any) -> None:
    rows = demo.episodes()
    row = rows[(rows["state"] != "over") & (rows["kind"] == "percentile")].iloc[0]
    assert row["parameter"] == "secchi"
    metres, feet = f"{row['peak']:.1f} m", f"{row['peak'] / 0.3048:.1f} ft"
    assert metres in row["message"]
    text = said(open_page("attention", units="us"))
    assert row["message"].replace(metres, feet, 1).split(",")[0] in text
    assert row["message"] not in text
    assert row["message"] in said(open_page("attention"))


@pytest.mark.parametrize(("units", "factor", "unit"), [("metric", 1.0, "m"), ("us", 1 / 0.3048, "ft")])
def test_light_and_layers_agree(
    demo: Any, open_page: Any, said: Any, units: str, factor: float, unit: str
) -> None:
    text = said(open_page("station", station="VEL-1", view="light", units=units))
    last = demo.light("VEL-1").dropna(subset=["euphotic_m"]).sort_values("local_date").iloc[-1]
    assert f"about {last['euphotic_m'] * factor:.1f} {unit}" in text
    # 1 % of the light: ln(100) / Kd (Kirk 1994), with Kd = k / disc depth
    k = demo.waters[demo.stations["VEL-1"].water].kd_constant
    assert last["euphotic_m"] == pytest.approx(4.60517 * last["secchi_m"] / k, rel=1e-4)
    counted = demo.days_stratified("VEL-1")
    assert counted.reading in text
    grid = demo.stratification("VEL-1")
    year = int(grid["visit"].dt.year.max())
    part = grid.sel(visit=grid["visit"].dt.year == year)
    depths = part["thermocline_depth"].dropna("visit")
    assert f"In {year}, {depths.sizes['visit']} of {part.sizes['visit']} visits found a thermocline" in text
    assert f"between {float(depths.min()) * factor:.1f} {unit}" in text
    assert f"{float(part['schmidt_stability'].max()):,.0f} J for every square metre" in text


def test_a_station_without_profiles_says_so(demo: Any, open_page: Any, said: Any) -> None:
    text = said(open_page("station", station="VEL-3", view="light"))
    assert "No temperature profile has been read here" in text
    assert "one hundredth of the light" in text


def test_the_relation_of_disc_and_turbidity_or_its_refusal(demo: Any, open_page: Any, said: Any) -> None:
    fits, refused = demo.clarity_relation("TAN-1"), demo.clarity_relation("VEL-1")
    assert fits.usable
    assert not refused.usable
    text = said(open_page("station", station="TAN-1", view="light"))
    assert f"turbidity is multiplied by about {2**fits.slope:.2f}" in text
    assert f"n = {fits.n} days with both" in text
    text = said(open_page("station", station="VEL-1", view="light"))
    assert "There is no telling turbidity from disc depth here" in text
    assert "secchi is" not in text


def test_an_empty_workspace_offers_two_ways_to_begin(bare: Any, open_page: Any, said: Any) -> None:
    at = open_page("waters")
    text = said(at)
    assert "Two ways to begin" in text
    assert "config/stations.csv" in text
    assert [b.label for b in at.button] == ["Load the demo waters"]


def test_without_the_files_no_demo_is_offered(bare: Any, open_page: Any, said: Any) -> None:
    (bare / "data" / "load.toml").unlink()
    at = open_page("waters")
    assert "Two ways to begin" in said(at)
    assert not at.button


def test_only_a_manager_may_load_the_demo(bare: Any, open_page: Any, monkeypatch: Any) -> None:
    from fathomlight.workspace.rights import Rights
    from fathomlight_dashboard import data

    whole = data.workspace
    monkeypatch.setattr(data, "workspace", lambda: whole().acting_as("someone", Rights("volunteer")))
    assert not open_page("waters").button


@pytest.mark.slow
def test_the_demo_is_loaded_by_the_button(bare: Any, open_page: Any, said: Any) -> None:
    at = open_page("waters")
    button(at, "Load the demo waters").click().run()
    text = said(at)
    assert "The demo waters are loaded" in text
    assert "stations that can be compared" in text


def test_a_ready_recipe_that_fits_not_for_certain_is_asked_about(
    own: Any, root: Any, open_page: Any, said: Any
) -> None:
    lines = (root / "data" / "hold_back" / "good_week.csv").read_text("utf-8").splitlines()
    at_header = next(i for i, line in enumerate(lines) if line and not line.startswith("#"))
    wider = [
        line if i < at_header else f"{line},{'Chlorophyll (ug/L)' if i == at_header else '3.0'}"
        for i, line in enumerate(lines)
    ]
    at = open_page("add", way="file")
    at.file_uploader[0].upload("wider.csv", "\n".join(wider).encode(), "text/csv").run()
    text = said(at)
    assert "fits this file, but not for certain" in text
    asked = next(r for r in at.radio if "does not read" in r.label)
    assert asked.value is None
    asked.set_value("no").run()
    assert "Choose “Say what each column is” as the recipe above" in said(at)
    next(r for r in at.radio if "does not read" in r.label).set_value("yes").run()
    assert "would be new" in said(at)
    assert not [t for t in at.text_input if t.key == "recipe name"]  # nothing new to keep


def test_the_matching_of_surveys_and_readings_is_made_visible(demo: Any, open_page: Any, said: Any) -> None:
    surveys = demo.surveys(gear="gill net")
    match = demo.matched_surveys()
    own = match.table[match.table["survey"].isin(surveys["survey"])]
    first = match.windows[0].name
    page = open_page("fish", view="surveys")
    text = said(page)
    assert f"{len(surveys)} surveys with gill net" in text.replace("\u202f", "").replace(",", "")
    assert (
        f"{own.loc[own['window'] == first, 'survey'].nunique()} have readings in the window {first}" in text
    )
    lost = match.unmatched[match.unmatched["survey"].isin(surveys["survey"])]
    assert (f"{lost['survey'].nunique()} survey" in text) == bool(len(lost))


def test_condition_is_told_by_length_category(demo: Any, open_page: Any, said: Any) -> None:
    table = demo.condition_table("walleye")
    assert (table["gear"] == "gill net").any()
    text = said(open_page("fish", view="condition"))
    assert "100 is the published standard" in text
    assert "Growth of walleye" in text


def test_numbers_come_from_surveys_of_several_passes(demo: Any, open_page: Any, said: Any) -> None:
    table = demo.removals("smallmouth bass")
    text = said(open_page("fish", view="removal", species="smallmouth bass", gear="backpack electrofishing"))
    assert f"{len(table)} surveys of several passes" in text
    assert "trained" in text or "permit" in text  # the cautions of electrofishing stand beside it
    assert "No survey with gill net has several passes" in said(open_page("fish", view="removal"))


WRONG = """Stn,When,Depth,Remark,Count
Vellumere deep hole,2025-06-05,18,<,3
Pindlewick bay centre,2025-06-05,5,,4
"""
"""Invented; its disc reading is called depth, and the sign of the reading stands under a remark."""


def test_a_wrongly_taken_column_is_put_right(own: Any, open_page: Any, said: Any) -> None:
    at = open_page("add", way="file")
    at.file_uploader[0].upload("week.csv", WRONG.encode(), "text/csv").run()
    assert "No column is a measured value" in said(at)
    assert not [b for b in at.button if b.label == "Load these readings"]
    column(at, "Depth").set_value("value secchi").run()
    assert "What unit is “Depth” in?" in "".join(r.label for r in at.radio)
    next(s for s in at.selectbox if s.label == "Unit of “Depth”").set_value("ft").run()
    assert "What unit is" not in "".join(r.label for r in at.radio)
    column(at, "Remark").set_value("qualifier").run()
    answer(at, "Is every column read as shown?", "yes")
    at.run()
    assert "**2** new" in said(at)
    at.text_input(key="recipe name").set_value("Signed cards")
    button(at, "Keep this recipe").click().run()
    assert "config/recipes/signed-cards.toml" in said(at)
    with open_workspace(own.root, read_only=True) as again:
        read = again.recipe("signed-cards").values[0]
        assert (read.parameter, read.unit, read.qualifier_column) == ("secchi", "ft", ("Remark",))
    button(at, "Load these readings").click().run()
    said(at)
    rows = own.readings(["PIN-1", "VEL-1"], ["secchi"])
    loaded = rows[rows["batch"] == rows["batch"].max()].sort_values("station")
    assert loaded["value"].tolist() == pytest.approx([5 * 0.3048, 18 * 0.3048])
    assert loaded["qualifier"].tolist() == ["=", "<"]


def test_contradicting_columns_say_how_to_mend_them(own: Any, open_page: Any, said: Any) -> None:
    at = open_page("add", way="file")
    at.file_uploader[0].upload("week.csv", WRONG.encode(), "text/csv").run()
    column(at, "Depth").set_value("value secchi")
    column(at, "Remark").set_value("date").run()
    text = said(at)
    assert "“When” and “Remark” are both the date. Keep one of them, and set the other to ignored." in text
    assert "question" not in "".join(s.value for s in at.header)
    column(at, "Remark").set_value("unknown").run()
    assert "both the date" not in said(at)
    column(at, "Stn").set_value("unknown").run()
    assert [r for r in [*at.radio, *at.selectbox] if r.label == "Which station is this file from?"]


def test_a_file_of_a_ready_recipe_can_be_read_column_by_column(
    own: Any, root: Any, open_page: Any, said: Any
) -> None:
    content = (root / "data" / "hold_back" / "good_week.csv").read_bytes()
    at = open_page("add", way="file")
    at.file_uploader[0].upload("good_week.csv", content, "text/csv").run()
    assert "If a column is taken for the wrong thing" in said(at)
    at.selectbox(key="recipe").set_value("(column by column)").run()
    assert "The file is read column by column." in said(at)
    assert [s for s in at.selectbox if s.label.startswith("What “")]
