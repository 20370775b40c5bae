"""The import contracts name every module that they are meant to guard."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_contract_of_overlay_names_every_other_module_of_calibration() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    contract = next(
        each
        for each in settings["tool"]["importlinter"]["contracts"]
        if each["name"].startswith("overlay sees only")
    )
    modules = {f"calibration.{path.stem}" for path in (ROOT / "calibration").glob("*.py")}
    seen = {"calibration.__init__", "calibration.geometry", "calibration.refusal"}
    assert set(contract["forbidden_modules"]) == modules - seen
