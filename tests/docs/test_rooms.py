"""The drawing of the rooms in DEVELOPERS.md is that of the code and of its import contracts."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.support.pages import ROOT, blocks, read

PARTS = {"calibration": "calibration", "overlay": "overlay", "chalkbeam": "src/chalkbeam"}


def layers(part: str) -> list[str]:
    """Return the rooms of a part from the top down, as its contract has them."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    every: list[dict[str, Any]] = settings["tool"]["importlinter"]["contracts"]
    (found,) = (each for each in every if each["name"] == f"The rooms of {part}")
    return [room for layer in found["layers"] for room in layer.split(" | ")]


def drawn() -> str:
    """Return the drawing of all rooms."""
    return next("\n".join(b.lines) for b in blocks("DEVELOPERS.md") if "basics" in str(b.lines))


@pytest.mark.parametrize("part", PARTS)
def test_the_drawing_has_the_rooms_in_the_order_of_their_contract(part: str) -> None:
    text = drawn().split(f"{part} ", 1)[1].split("────")[0].split("root:")[0]
    names = re.findall(r"\b(" + "|".join(layers(part)) + r")\b", text)
    assert list(dict.fromkeys(names)) == layers(part)


@pytest.mark.parametrize(("part", "folder"), PARTS.items())
def test_every_room_has_its_line(part: str, folder: str) -> None:
    rooms = {path.parent.name for path in Path(ROOT / folder).glob("*/__init__.py")}
    lines = set(re.findall(r"(?m)^(\w+)/ ", read("DEVELOPERS.md")))
    assert rooms - lines == set()
