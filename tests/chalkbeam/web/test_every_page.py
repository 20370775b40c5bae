"""Every page can be used by everybody: no rule of WCAG broken badly, nothing wider than the screen.

The rules are axe-core's (see `tests.support.browser`).
"""

from __future__ import annotations

import pytest

from chalkbeam.simulator.set_up_light import SimulatedLight
from chalkbeam.web.server import doors
from tests.support.browser import SIZES, serious
from tests.support.page_tour import ENDINGS, FILES, STOPS, Tour


@pytest.fixture
def light():
    return SimulatedLight()


@pytest.fixture
def tour(ask, served, workshop, tmp_path):
    made = Tour(ask, served.app.state, workshop, tmp_path)
    yield made
    made.end()


def test_every_door_that_answers_with_a_page_is_looked_at():
    pages = {
        door.path
        for door in doors()
        if "GET" in door.methods and door.path not in FILES and not door.path.endswith(ENDINGS)
    }
    assert pages == {stop.door for stop in STOPS}


@pytest.mark.proof
@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_serious_on_any_page_and_none_scrolls_aside(tour, let_in, size, scheme):
    page = let_in(size=SIZES[size], scheme=scheme)
    wrong = {}
    for stop in STOPS:
        page.goto(stop.arrive(tour))
        if stop.door == "/press" and tour.light is not None:
            page.locator(".head").wait_for()
        found = serious(page)
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > SIZES[size][0]:
            found.append(f"{wide} px wide")
        if found:
            wrong[stop.name] = found
    assert wrong == {}
