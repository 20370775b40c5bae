"""A virtual rig and what a camera sees of it, rendered once for all tests of the set-up."""

import pytest

from calibration.targets.cards import layout
from tests.support import live_camera


@pytest.fixture(scope="session")
def truth():
    """The rig that the camera looks at."""
    return live_camera.watched_rig()


@pytest.fixture(scope="session")
def cards(truth):
    """Its cards as they should lie."""
    return layout(truth.face)


@pytest.fixture(scope="session")
def views():
    """A sharp, still picture from each place."""
    return live_camera.watched_views()
