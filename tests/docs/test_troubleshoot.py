"""docs/troubleshoot.md has a row for every refusal, and every row is of a refusal that is there.

The refusals are collected from the code: what is passed to `Refusal` as it stands, and in the
files that put their sentences together elsewhere, every string that reads like one.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

from tests.support.pages import ROOT, read

ROOMS = ("calibration", "overlay", "src/chalkbeam")

BUILT = (
    "calibration/detect/diagnose_layout.py",
    "calibration/detect/diagnose.py",
    "overlay/window/displays.py",
    "src/chalkbeam/orders/place_imprint.py",
    "src/chalkbeam/record/faults.py",
    "src/chalkbeam/presses/faults.py",
)
"""Files whose sentences come to `Refusal` by way of a function's return."""

TYPED = (
    "src/chalkbeam/cli/",
    "src/chalkbeam/basics/units.py",
    "src/chalkbeam/garments/__init__.py",
    "src/chalkbeam/garments/charts/measured.py",
    "src/chalkbeam/garments/charts/storing.py",
    "src/chalkbeam/garments/library.py",
    "src/chalkbeam/garments/grading.py",
    "src/chalkbeam/garments/model.py",
    "src/chalkbeam/locations/library.py",
    "src/chalkbeam/orders/cells.py",
    "src/chalkbeam/orders/shop.py",
    "src/chalkbeam/orders/times.py",
    "src/chalkbeam/paper/drawing_files.py",
    "src/chalkbeam/placement/platens.py",
)
"""Files whose refusals are about a word that was typed, and name what may stand there."""

LEAST = 8
"""Letters that a row must have of a sentence, so that it cannot stand for any."""


def template(node: ast.expr) -> str | None:
    """Return a string literal with … for what varies; None for anything else."""
    match node:
        case ast.Constant(value=str(said)):
            return re.sub(r"\{\d*\}", "…", said)
        case ast.JoinedStr():
            parts = (template(each) or "…" for each in node.values)
            return "".join(parts)
        case ast.BinOp(left=left, op=ast.Add(), right=right) if template(left) is not None:
            return f"{template(left)}{template(right) or '…'}"
    return None


def assigned(tree: ast.Module) -> dict[str, list[ast.expr]]:
    """Return what a file's names are set to."""
    found: dict[str, list[ast.expr]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            found.setdefault(node.targets[0].id, []).append(node.value)
    return found


def said_by(node: ast.expr, names: dict[str, list[ast.expr]]) -> Iterator[str]:
    """Yield the sentences that an expression may come to."""
    match node:
        case ast.BoolOp(values=values):
            for each in values:
                yield from said_by(each, {})
        case ast.IfExp(body=body, orelse=orelse):
            yield from said_by(body, {})
            yield from said_by(orelse, {})
        case ast.Name(id=name):
            for each in names.get(name, []):
                yield from said_by(each, {})
        case _:
            whole = template(node)
            if whole is not None:
                yield whole


@functools.cache
def kinds() -> frozenset[str]:
    """Return the names of `Refusal` and of the classes made of it."""
    code = (path.read_text("utf-8") for room in ROOMS for path in (ROOT / room).rglob("*.py"))
    return frozenset({"Refusal", *re.findall(r"(?m)^class (\w+)\(Refusal\)", "\n".join(code))})


def is_refusal(node: ast.Call) -> bool:
    return isinstance(node.func, ast.Name) and node.func.id in kinds()


def docstrings(tree: ast.Module) -> set[int]:
    """Return the ids of the strings that are documentation."""
    bodies = (getattr(node, "body", None) for node in ast.walk(tree))
    lines = (line for body in bodies if isinstance(body, list) for line in body)
    return {id(line.value) for line in lines if isinstance(line, ast.Expr)}


def parts(tree: ast.Module) -> set[int]:
    """Return the ids of what stands within longer strings."""
    whole = (node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr | ast.BinOp))
    return {id(part) for node in whole for part in ast.walk(node) if part is not node}


def sentences(path: Path, built: bool) -> Iterator[str]:
    """Yield the refusals of a file."""
    tree = ast.parse(path.read_text("utf-8"))
    names = assigned(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and is_refusal(node) and node.args:
            yield from said_by(node.args[0], names)
    if not built:
        return
    passed_over = docstrings(tree) | parts(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.expr) and id(node) not in passed_over:
            said = template(node)
            if said is not None and re.search(r": [a-z].*\.$", said, re.DOTALL):
                yield said


def refusals() -> dict[str, str]:
    """Return every refusal that is not about a typed word, with its file."""
    found = {}
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name.startswith(TYPED) or name == "calibration/refusal.py":
                continue
            found.update(dict.fromkeys(sentences(path, name in BUILT), name))
    return {said: name for said, name in found.items() if letters(said) >= LEAST}


def letters(text: str) -> int:
    return len(re.sub(r"[^A-Za-z]", "", text))


def rows() -> list[str]:
    """Return the beginnings of sentences in the page's tables."""
    tables = re.split(r"(?m)^\| the sentence begins .*\n\|[-|]+\n", read("docs/troubleshoot.md"))[
        1:
    ]
    lines = [line for table in tables for line in table.partition("\n\n")[0].splitlines()]
    return [each for line in lines for each in line.split(" | ")[0].lstrip("| ").split("<br>")]


def pattern(row: str) -> re.Pattern[str]:
    """Return what a sentence that begins as the row says looks like."""
    return re.compile(".*?".join(re.escape(part) for part in row.split("…")), re.DOTALL)


def test_every_refusal_has_a_row() -> None:
    patterns = [pattern(row) for row in rows()]
    lost = {
        said: file
        for said, file in refusals().items()
        if not any(each.match(said) for each in patterns)
    }
    assert lost == {}


def test_every_row_is_of_a_refusal() -> None:
    known = list(refusals())
    dead = [row for row in rows() if not any(pattern(row).match(said) for said in known)]
    assert dead == []


def test_no_row_stands_for_any_sentence() -> None:
    assert [row for row in rows() if letters(row) < LEAST] == []


def test_files_that_are_passed_over_are_there() -> None:
    assert [name for name in (*BUILT, *TYPED) if not (ROOT / name).exists()] == []
