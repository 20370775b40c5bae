"""A few spoiled inputs at every door: each is answered, or refused in one sentence.

``python -m benchmarks.hostile`` tries thousands. Here the seed is fixed, and a second one changes
with the day, so that what is tried grows from run to run; a failure names both.
"""

import datetime

import pytest

from benchmarks.hostile import AS_PROMISED, DOORS, run_cases
from calibration.worker import Worker

QUICK = tuple(door.name for door in DOORS if door.name not in {"photos", "pictures"})


@pytest.mark.slow
def test_spoiled_inputs_are_answered_or_refused_in_a_sentence(tmp_path):
    worker, today = Worker(), datetime.date.today().toordinal()
    found = run_cases([0, 1], 7, QUICK, tmp_path, worker)
    found += run_cases([1], today, QUICK, tmp_path, worker)
    worker.close()
    assert [each for each in found if each.kind not in AS_PROMISED] == [], f"seeds 7 and {today}"


def test_a_fault_is_found(tmp_path):
    """What is told as a fault: the judge that never finds one proves nothing."""
    from benchmarks.hostile import _judged

    door = next(door for door in DOORS if door.name == "points")
    command = ["aim", "--points", str(tmp_path / "none.csv"), "--json"]
    assert _judged(door, tmp_path, command)[0] == "refused"
    kind, detail = _judged(door, tmp_path, ["location", "list"])
    assert (kind, "Expecting value" in detail) == ("wrong", True)
