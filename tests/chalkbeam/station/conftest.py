"""The crew's order, listed as it stands, and a hand that works through it by keys."""

import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from tests.support.crew_order import crew
from tests.support.hand import Hand


@pytest.fixture(scope="module")
def stops(tmp_path_factory):
    folder = tmp_path_factory.mktemp("crew")
    return plan(crew(folder), Times(), fit_on_press, as_listed=True).stops


@pytest.fixture
def hand(stops):
    return Hand(stops)
