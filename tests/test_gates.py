"""Files of others are opened in one place each, where size, kind and damage are judged."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("calibration", "overlay", "src/chalkbeam")

GATES = {
    "Image.open": {"calibration/picture_files.py"},
    "cv2.imdecode": {"src/chalkbeam/eye/burst.py"},  # of PNG and JPEG, by their content
    "cv2.imread": set(),
    "tomllib.loads": {
        "src/chalkbeam/basics/toml_files.py",
        "src/chalkbeam/web/words.py",  # the program's own texts
    },
    "eval": set(),
    "exec": set(),
    "os.system": set(),
    # What only this program wrote, in a process that it started:
    "pickle.loads": {"calibration/worker.py"},
    "pickle.load": set(),
}
"""The only files that may make a call."""

OWN = {
    "overlay/text/typeface.py",  # the bundled font; a user's comes by artwork.letters
    "src/chalkbeam/simulator/tern_harbour/__init__.py",  # the program's own data
    "src/chalkbeam/web/front.py",
    "src/chalkbeam/web/pages.py",
    "src/chalkbeam/web/words.py",
}
"""Files that read only what comes with the program."""


def calls() -> Iterator[tuple[str, str]]:
    """Yield every call of the code: its file, and what is called, as written."""
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Call):
                    yield path.relative_to(ROOT).as_posix(), ast.unparse(node.func)


def test_files_of_others_are_opened_in_one_place_each() -> None:
    made = list(calls())
    for call, allowed in GATES.items():
        assert {file for file, called in made if called == call} == allowed, call


@pytest.mark.parametrize("method", ["read_bytes", "read_text"])
def test_every_file_is_read_up_to_a_size(method: str) -> None:
    made = {file for file, called in calls() if called.endswith(f".{method}")}
    assert made <= OWN
