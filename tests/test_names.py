"""One word, one meaning: no public class name stands twice, and names in the text exist."""

from __future__ import annotations

import ast
import pkgutil
import re
from collections import defaultdict
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
PARTS = ("calibration", "overlay", "src/chalkbeam")


def sources() -> list[Path]:
    return [path for part in PARTS for path in sorted((ROOT / part).rglob("*.py"))]


def public_classes() -> dict[str, list[str]]:
    """Return where each public class is defined, by its name."""
    places = defaultdict(list)
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(f"{path.relative_to(ROOT)}:{node.lineno}")
    return places


def test_every_public_class_name_stands_once() -> None:
    places = public_classes()
    assert len(places) > 200, "the classes were looked for in the wrong place"
    assert not {name: where for name, where in places.items() if len(where) > 1}


def exists(name: str) -> bool:
    """Whether a dotted name is that of a module, or of something in one."""
    owner, _, last = name.rpartition(".")
    try:
        pkgutil.resolve_name(name)
    except (ImportError, AttributeError):
        try:
            thing: Any = pkgutil.resolve_name(owner)
        except (ImportError, AttributeError):
            return False
        return last in getattr(thing, "__annotations__", {})  # a field of a dataclass
    return True


def test_what_docstrings_and_comments_refer_to_exists() -> None:
    named = re.compile(r"`((?:calibration|overlay|chalkbeam)(?:\.\w+)+)`")
    referred = {
        (path.relative_to(ROOT), name)
        for path in sources()
        for name in named.findall(path.read_text("utf-8"))
    }
    assert len(referred) > 20, "the names were looked for in the wrong place"
    assert not {(str(path), name) for path, name in referred if not exists(name)}
