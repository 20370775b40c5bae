"""What runs apart cannot take the program with it: crash, hang and memory bomb are told."""

import functools
import math
import os
import sys
import time

import numpy as np
import pytest

from calibration.refusal import Refusal
from calibration.worker import Lost, Worker, apart


def test_results_and_errors_come_back():
    assert apart(math.sqrt, 4.0) == 2.0
    with pytest.raises(ValueError, match="math domain"):
        apart(math.sqrt, -1.0)
    with pytest.raises(Refusal, match="one sentence") as told:
        apart(_refuse)
    assert told.value.said == ("one ", "sentence")


def _refuse():
    raise Refusal("one ", "sentence")


def test_a_crash_ends_only_the_process_apart():
    first = apart(os.getpid)
    with pytest.raises(Lost, match="crash"):
        apart(os.abort)
    assert apart(os.getpid) not in {first, os.getpid()}


def test_what_does_not_end_is_ended():
    worker = Worker()
    began = time.monotonic()
    with pytest.raises(Lost, match=r"took longer than 0\.3 s"):
        worker.ask(functools.partial(time.sleep, 60), 0.3)
    assert time.monotonic() - began < 30
    worker.close()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux limits addresses")
def test_memory_is_limited():
    with pytest.raises(Lost, match="memory"):
        apart(np.ones, (100_000, 100_000))
    assert apart(math.sqrt, 9.0) == 3.0


def test_what_a_decoder_prints_is_no_answer():
    assert apart(print, "a" * 100) is None
    assert apart(os.write, 1, b"raw") == 3
    assert apart(math.sqrt, 16.0) == 4.0
