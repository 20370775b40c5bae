"""Spoiled inputs at every door: each must be answered, or refused in one sentence.

``python -m benchmarks.hostile --cases 10000 --seed 1 [--door NAME]`` prints counts by door and
outcome, and what every failure was made from; a case is made again by its door and number:
``--door NAME --only NUMBER`` leaves its files in a folder.

Outcomes: *answered* and *refused* are as promised. *traceback*: an error escaped. *words*: a
programmer's words were shown. *wrong*: an answer that is untrue or cannot be. *half*: refused, and
a file was left all the same. *crash* and *hang* are of the whole process.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import io
import json
import os
import random
import re
import shutil
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks._hostile_doors import DOORS, Door
from calibration import worker
from calibration.worker import Lost, TookTooLong, Worker

SECONDS = 60.0
AS_PROMISED = ("answered", "refused")
PROGRAMMERS = re.compile(
    r"Traceback|unexpected keyword|NoneType|object has no|could not convert|\bdtype\b|errno|"
    r"positional argument|not subscriptable|Error\b|invalid literal|list index|codec can"
)


@dataclass(frozen=True)
class Outcome:
    """What came of one case."""

    door: str
    number: int
    kind: str
    detail: str = ""


def run_case(door_name: str, seed: int, number: int, folder: Path) -> Outcome:
    """Spoil one input of a door, give it to the program, and judge what it does."""
    worker._serving = False  # decoders run apart, as in the program
    door = next(each for each in DOORS if each.name == door_name)
    chance = random.Random(f"{seed} {door_name} {number}")
    inputs = _inputs(door_name)
    name = chance.choice(sorted(inputs))
    spoiled = door.spoil(inputs[name], chance) if number else inputs[name]
    case = folder / f"{door_name}-{seed}-{number}"
    file = case / name
    file.parent.mkdir(parents=True, exist_ok=True)
    for beside, made in door.beside.items():
        (file.parent / beside).write_bytes(_beside(made))
    file.write_bytes(spoiled)
    os.environ["XDG_DATA_HOME"] = str(case / "data")
    if door_name == "words":
        command = json.loads(spoiled) if number else json.loads(spoiled)[0]
    else:
        chosen = chance.choice(door.commands) if number else door.commands[0]
        command = [word.format(file=file, folder=case) for word in chosen]
    kind, detail = _judged(door, case, command)
    if not number and kind == "refused":
        kind = "wrong"  # the first case of a door is sound
    left = "it was left as it is" in detail or door_name in {"rescues", "journals"}
    if left and file.read_bytes() != spoiled:
        kind, detail = "wrong", "the damaged record was changed"
    if kind in AS_PROMISED:
        shutil.rmtree(case, ignore_errors=True)
    return Outcome(door_name, number, kind, detail)


@functools.cache
def _inputs(door_name: str) -> dict[str, bytes]:
    return dict(next(each for each in DOORS if each.name == door_name).inputs())


@functools.cache
def _beside(made: functools.partial[bytes]) -> bytes:
    return made()


def _judged(door: Door, case: Path, command: list[str]) -> tuple[str, str]:
    from chalkbeam.cli import app

    out, err = io.StringIO(), io.StringIO()
    before, code = sys.argv, 0
    sys.argv = ["chalkbeam", *command]
    there = set(case.rglob("*"))
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            app.main()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:
        return "traceback", traceback.format_exc(limit=-3)[-900:]
    finally:
        sys.argv = before
    said = err.getvalue().strip()
    if code == 2:
        if PROGRAMMERS.search(said):
            return "words", said[-300:]
        if not said:
            return "words", "refused without a sentence"
        left = {path for path in set(case.rglob("*")) - there if path.is_file()}
        if {path for path in left if not path.name.endswith(("-shm", "-wal"))}:
            return "half", f"{sorted(path.name for path in left)}: {said[-200:]}"
        return "refused", said[-300:]
    if code == 0:
        try:
            wrong = door.judge(case, out.getvalue(), said)
        except Exception:
            wrong = traceback.format_exc(limit=-2)[-400:]
        if wrong:
            return "wrong", wrong
    return "answered", said[-300:]


def run_cases(
    numbers: Sequence[int], seed: int, doors: Sequence[str], folder: Path, process: Worker
) -> list[Outcome]:
    """Run the cases with these numbers at each door, in a process that is begun again if ended.

    Number 0 is the door's sound input, which must be answered.
    """
    found = []
    for number in numbers:
        for door in doors:
            case = functools.partial(run_case, door, seed, number, folder)
            try:
                found.append(process.ask(case, SECONDS))
            except TookTooLong as lost:
                found.append(Outcome(door, number, "hang", str(lost)))
            except Lost as lost:
                found.append(Outcome(door, number, "crash", str(lost)))
    return found


def table(found: list[Outcome]) -> str:
    """Return counts by door and outcome."""
    counts = Counter((each.door, each.kind) for each in found)
    kinds = [*AS_PROMISED, "traceback", "words", "wrong", "half", "crash", "hang"]
    lines = [f"{'door':12}" + "".join(f"{kind:>11}" for kind in kinds)]
    for door in dict.fromkeys(each.door for each in found):
        lines.append(f"{door:12}" + "".join(f"{counts[door, kind]:11}" for kind in kinds))
    total = [sum(n for (_, kind), n in counts.items() if kind == wanted) for wanted in kinds]
    return "\n".join([*lines, f"{'all':12}" + "".join(f"{n:11}" for n in total)])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--door", action="append", choices=[door.name for door in DOORS])
    parser.add_argument("--only", type=int)
    asked = parser.parse_args()
    doors = tuple(asked.door or (door.name for door in DOORS))
    folder = Path(tempfile.mkdtemp(prefix="hostile-"))
    process = Worker()
    numbers = range(-(-asked.cases // len(doors))) if asked.only is None else [asked.only]
    found = run_cases(numbers, asked.seed, doors, folder, process)
    process.close()
    failed = [each for each in found if each.kind not in AS_PROMISED]
    for each in failed:
        print(f"{each.kind}: --seed {asked.seed} --door {each.door} --only {each.number}")
        print(f"    {each.detail.strip()}".replace("\n", "\n    "))
    print(table(found))
    if failed:
        print(f"The files of what failed: {folder}")
    else:
        shutil.rmtree(folder, ignore_errors=True)
    return 1 if failed else 0


if __name__ == "__main__":
    from benchmarks import hostile  # by this name the process apart finds it

    sys.exit(hostile.main())
