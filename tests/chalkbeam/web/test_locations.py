"""Locations on the page: looked at and dragged; the file is what the command line reads."""

from __future__ import annotations

import tomllib

import pytest

from calibration.refusal import Refusal
from chalkbeam.garments import garment
from chalkbeam.locations import location, locations, presets_folder
from chalkbeam.placement import place
from chalkbeam.placement.garment_lines import unknown_lines
from chalkbeam.web.doors import Right
from chalkbeam.web.shelves.wearing import block
from tests.support.browser import serious

PLACED = {
    "style": "crew_tee", "size": "M", "face": "front", "title": "house chest", "width": "80",
    "along": "pit_line", "down": "-60", "across": "left_neck_point", "right": "12.5",
}  # fmt: skip


def test_every_location_is_listed_and_shown(ask):
    listed = ask("/locations").text
    for name, found in locations().items():
        assert f'href="/locations/{name}">{found.title}' in listed
    shown = ask("/locations/left-chest").text
    assert "balanced under the point where the collar meets the shoulder seam" in shown
    assert shown.count("<svg") == 3


def test_a_dragged_location_places_where_it_was_dragged(ask):
    answer = ask("/locations", form=PLACED)
    assert answer.headers["location"] == "/locations/house-chest?style=crew_tee"
    made = location("house-chest")
    assert made.origin == presets_folder() / "house-chest.toml"
    assert unknown_lines(made) == ()
    worn = garment("crew tee", "M")
    placed = place(worn, made, block(80, 50, "a block"))
    front = worn.face("front")
    # By hand: 60 mm above the armpits' line, 12.5 mm to the right of where neck and shoulder meet.
    assert placed.hull()[:, 1].min() == pytest.approx(front.along["pit_line"].value - 60)
    middle = placed.hull()[:, 0].min() / 2 + placed.hull()[:, 0].max() / 2
    assert middle == pytest.approx(front.across["left_neck_point"].value + 12.5)
    assert made.preset.width["adult"].usual == 80
    assert "yours" in ask("/locations").text


def test_on_a_line_it_is_said_so(ask):
    ask("/locations", form=PLACED | {"right": "0", "down": "0.4"})
    rules = tomllib.loads((presets_folder() / "house-chest.toml").read_text())["rule"]
    assert [each.get("across") or each.get("along") for each in rules] == [
        "left_neck_point", "pit_line"
    ]  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [{"title": "abc"}, {"down": "1e9"}, {"down": "nan"}, {"width": "0"}, {"along": "moon_line"},
     {"title": "left chest"}, {"across": "pit_line"}],
    ids=str,
)  # fmt: skip
def test_what_cannot_be_a_location_is_refused_and_nothing_is_kept(ask, change):
    assert ask("/locations", form=PLACED | change).status == 400
    assert not presets_folder().exists() or not list(presets_folder().iterdir())


def test_one_that_is_there_is_replaced_only_where_that_is_said(ask):
    assert ask("/locations", form=PLACED).status == 303
    assert ask("/locations", form=PLACED | {"down": "-10"}).status == 400
    assert ask("/locations", form=PLACED | {"down": "-10", "replace": "1"}).status == 303
    assert location("house-chest").rules[1].by["adult"].usual == 10


def test_who_may_only_press_makes_none(ask):
    assert ask("/locations", form=PLACED, right=Right.PRESS).status == 403
    assert ask("/locations/new", right=Right.PRESS).status == 403
    with pytest.raises(Refusal):
        location("house-chest")


def test_every_style_and_side_can_be_dragged_on(ask):
    assert ask("/locations/new?style=tote").status == 200
    assert ask("/locations/new?style=trousers&face=right_leg").status == 200
    assert ask("/locations/new?style=nonsense&size=%00&face=moon&art=x").status == 200
    assert ask("/locations/new?width=0").status == 400


@pytest.mark.slow
def test_artwork_is_dragged_to_its_place_and_laid_on_a_line(let_in):
    from playwright.sync_api import expect

    page = let_in(size=(1024, 768))
    page.goto("/locations/new")
    expect(page.locator("[name=down]")).to_have_value("76")
    box = page.locator("#art").bounding_box()
    face = page.locator("#face")
    scale = page.evaluate("document.getElementById('face').getScreenCTM().a")
    assert box["width"] == pytest.approx(90 * scale, rel=0.02)
    at = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.move(at[0] + 60 * scale, at[1] + 25 * scale, steps=5)
    page.mouse.up()
    expect(page.locator("[name=down]")).not_to_have_value("76")
    moved = float(page.input_value("[name=right]")), float(page.input_value("[name=down]"))
    front = garment("crew tee", "M").face("front")
    lines = [mark.value for mark in front.across.values() if abs(mark.value - 60) < 4]
    expected = min(lines, key=lambda line: abs(line - 60)) if lines else 60
    assert moved == pytest.approx((expected, 101), abs=1.5)
    expect(face).to_be_visible()
    assert serious(page) == []
    page.fill("[name=title]", "house chest")
    page.get_by_role("button", name="Save the location").click()
    page.wait_for_url("**/locations/house-chest*")
    assert location("house chest").rules[1].by["adult"].usual == pytest.approx(moved[1])


def test_the_distances_of_a_location_are_changed_once_it_is_the_shops_own(ask):
    assert 'name="usual-1"' not in ask("/locations/left-chest").text
    assert ask("/locations/left-chest", form={"usual-1": "70"}).status == 400
    worn = {"style": "crew_tee", "size": "M"}
    answer = ask("/locations/left-chest/own", form=worn)
    assert answer.headers["location"] == "/locations/left-chest?style=crew_tee&size=M#rules"
    before = location("left-chest")
    assert before.origin == presets_folder() / "left-chest.toml"
    was = before.rules[1].by["adult"]
    sent = worn | {"low-1": "50", "usual-1": "70.5", "high-1": "110"}
    assert ask("/locations/left-chest", form=sent).status == 303
    after = location("left-chest").rules
    assert (after[1].by["adult"].usual, after[1].by["adult"].low) == (70.5, 50.0)
    assert after[1].by["youth"] == before.rules[1].by["youth"]
    assert after[2:] == before.rules[2:]
    worn_tee = garment("crew tee", "M")
    moved = [
        place(worn_tee, each, block(80, 50, "a block")).hull()[:, 1].mean()
        for each in (before, location("left-chest"))
    ]
    assert moved[1] - moved[0] == pytest.approx(was.usual - 70.5, abs=0.1)  # above its line
    for wrong in ({"low-1": "80"}, {"usual-1": "far"}, {"high-1": "1e9"}):
        assert ask("/locations/left-chest", form=sent | wrong).status == 400
    assert location("left-chest").rules == after
    assert "the mirror image of another" in ask("/locations/right-hem/own", form=worn).text
