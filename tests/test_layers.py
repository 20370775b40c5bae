"""The import contracts that list rooms by name list every one that they are meant to guard."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]


def contract(name: str) -> dict[str, Any]:
    """Return the import contract whose name begins so."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    every: list[dict[str, Any]] = settings["tool"]["importlinter"]["contracts"]
    return next(each for each in every if each["name"].startswith(name))


def inside(folder: str) -> set[str]:
    """Return the modules and packages right below a folder, by their dotted names."""
    path = ROOT / ("src" if folder == "chalkbeam" else "") / folder
    files = {each.stem for each in path.glob("*.py")} - {"__init__", "__main__"}
    rooms = {each.parent.name for each in path.glob("*/__init__.py")}
    return {f"{folder}.{name}" for name in files | rooms}


def test_overlay_may_see_of_calibration_only_geometry_and_refusal() -> None:
    seen = {"calibration.geometry", "calibration.refusal"}
    assert set(contract("overlay sees")["forbidden_modules"]) == inside("calibration") - seen


def test_pygame_is_forbidden_everywhere_but_in_the_window() -> None:
    guarded = set(contract("pygame only")["source_modules"])
    assert guarded == {"calibration", "chalkbeam"} | inside("overlay") - {"overlay.window"}


def test_every_room_but_those_that_call_it_is_kept_from_the_simulator() -> None:
    guarded = set(contract("The simulator never")["source_modules"])
    above = {"chalkbeam.cli", "chalkbeam.simulator"}
    assert guarded == {"calibration", "overlay"} | inside("chalkbeam") - above
