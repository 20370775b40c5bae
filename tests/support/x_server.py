"""X servers for tests of windows, and programs that open windows on them."""

import os
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def x_server_of(monkeypatch, *command):
    """Have an X server that chooses its own number, and windows opened on it."""
    reading, writing = os.pipe()
    server = subprocess.Popen(
        [*command, "-noreset", "-nolisten", "tcp", "-displayfd", str(writing)],
        pass_fds=[writing], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        number = told.readline().strip()
    if not number:
        server.wait()
        pytest.skip(f"{command[0]} may not be started here")
    monkeypatch.setenv("DISPLAY", f":{number}")
    monkeypatch.setenv("SDL_VIDEODRIVER", "x11")
    try:
        yield
    finally:
        server.terminate()
        server.wait()


def run_program(source, *arguments):
    """Run a program of a few lines; return what it prints, line by line."""
    done = subprocess.run(
        [sys.executable, "-c", source, *arguments],
        cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()
