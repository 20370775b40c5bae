"""One word, one meaning: no two public classes of the program have the same name."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[1]
PARTS = ("calibration", "overlay", "src/chalkbeam")

UNSETTLED = {"Display", "Run"}
"""Names that still stand twice. The list may only shrink."""


def public_classes() -> dict[str, list[str]]:
    """Return where each public class is defined, by its name."""
    places = defaultdict(list)
    for path in (path for part in PARTS for path in (ROOT / part).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(f"{path.relative_to(ROOT)}:{node.lineno}")
    return places


def test_every_public_class_name_stands_once() -> None:
    places = public_classes()
    assert len(places) > 200, "the classes were looked for in the wrong place"
    twice = {name: where for name, where in places.items() if len(where) > 1}
    assert not {name: where for name, where in twice.items() if name not in UNSETTLED}
