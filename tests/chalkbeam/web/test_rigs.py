"""The shelf of rigs on the page."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calibration.files import write_whole
from calibration.rig import library
from chalkbeam.web.doors import Right
from tests.support.browser import SIZES, serious
from tests.support.rigs import demo_rig


@pytest.fixture
def shelf():
    """Two rigs, the first one chosen, and a file that is none."""
    rig = demo_rig()
    for name in ("Boathouse", "Slipway"):
        library.keep(replace(rig, name=name))
    library.set_default("Boathouse")
    (library.folder() / "torn.json").write_text("{")
    return rig


def test_an_empty_shelf_says_where_a_press_is_set_up(ask):
    answer = ask("/rigs").text
    assert "No press is set up yet" in answer
    assert 'href="/setup"' in answer
    assert 'href="/setup"' not in ask("/rigs", right=Right.SEE).text


def test_another_rig_is_chosen_and_named(ask, served, shelf):
    assert ask("/rigs/Slipway/default", form={}, right=Right.PRESS).status == 403
    ask("/rigs/Slipway/default", form={})
    assert library.default() == "Slipway"
    served.app.state.setup.file.change(lambda guide: guide.with_(rig="Slipway"))
    ask("/rigs/Slipway/name", form={"name": "New slipway"})
    assert library.open_rig(None).name == "New slipway"
    assert served.app.state.setup.guide().rig == "New slipway"
    answer = ask("/rigs/Boathouse/name", form={"name": "new SLIPWAY"})
    assert answer.status == 400
    assert "Another rig is named" in answer.text
    assert ask("/rigs/nowhere/default", form={}).status == 400


def test_the_report_that_is_kept_is_shown(ask, shelf):
    write_whole(library.report_place(shelf), b"\x89PNG kept")
    answer = ask("/rigs/Boathouse/report.png", right=Right.SEE)
    assert (answer.body, answer.headers["content-type"]) == (b"\x89PNG kept", "image/png")


def test_the_shelf_can_be_used_by_everybody(let_in, shelf):
    from playwright.sync_api import expect

    page = let_in(Right.SET_UP, size=SIZES["phone"], scheme="dark")
    page.goto("/rigs")
    expect(page.locator("section")).to_have_count(3)
    expect(page.locator("section h2").first).to_contain_text("taken unless another is named")
    expect(page.locator("section .wrong")).to_have_count(1)
    assert serious(page) == []
