"""Work in a process of its own: its answer, its refusals, and its end when it takes too much."""

from __future__ import annotations

import os
import threading
import time

import pytest

from calibration.refusal import Refusal
from chalkbeam.web.worker import StoppedError, run_apart


def several(number, tell):
    tell("begun")
    return number + 1, os.getpid()


def refuse():
    raise Refusal("That is no photo: take another.")


def crash():
    os.abort()


def eat():
    return len(bytearray(2_000_000_000))


def sleep():
    time.sleep(60)


def test_the_answer_and_the_progress_come_from_another_process():
    said = []
    number, where = run_apart(several, 1, tell=said.append)
    assert (number, said) == (2, ["begun"])
    assert where != os.getpid()


def test_a_refusal_comes_through_and_a_crash_becomes_one():
    with pytest.raises(Refusal, match="That is no photo"):
        run_apart(refuse)
    with pytest.raises(Refusal, match="damaged"):
        run_apart(crash)


def test_memory_is_limited():
    with pytest.raises(Refusal, match="memory"):
        run_apart(eat, megabytes=1000)


def test_time_is_limited_and_nobody_waits_for_what_is_stopped():
    begun = time.monotonic()
    with pytest.raises(Refusal, match=r"longer than 0\.5 s"):
        run_apart(sleep, seconds=0.5)
    stop = threading.Event()
    stop.set()
    with pytest.raises(StoppedError):
        run_apart(sleep, stop=stop)
    assert time.monotonic() - begun < 20
