"""Every test runs without a screen, a sound card or the user's own settings."""

import os

os.environ["SDL_VIDEODRIVER"] = "dummy"
os.environ["SDL_AUDIODRIVER"] = "dummy"
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
# The suite runs in as many processes as there are cores: one thread each. Linear algebra reads
# this when it is loaded; its threads otherwise wait for each other at full load.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import pytest
from hypothesis import HealthCheck, settings

cv2.setNumThreads(1)
# How long drawing takes says nothing of the code: no deadline, no check of slowness.
settings.register_profile(
    "chalkbeam",
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("chalkbeam")


@pytest.fixture(autouse=True)
def _own_user_folders(tmp_path_factory, monkeypatch):
    """Point the user's data and settings folders at a throw-away place."""
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))
    monkeypatch.setenv("APPDATA", str(home))
    monkeypatch.setenv("LOCALAPPDATA", str(home))
