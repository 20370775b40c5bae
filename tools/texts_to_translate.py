"""Write every text of the page as a file to be translated: ``python -m tools.texts_to_translate``.

Its tables are those of `web/texts/en.toml`, by key, in English: write over them. Its last one,
`said`, holds what the rest of the program says on the page (questions at the press, warnings,
refusals, names of locations): each sentence's English words, numbers in braces for what changes in
it, and an empty place for the translation. They are gathered from the program's own source, as
gettext gathers: nobody lists a sentence twice. Translated, the file lies as `texts.toml` in the
shop's data folder; what is left out of it, or empty, stays English.
"""

from __future__ import annotations

import argparse
import ast
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
OWN = ROOT / "src" / "chalkbeam" / "web" / "texts" / "en.toml"
ROOMS = ("calibration", "overlay/window", "src/chalkbeam")
ELSEWHERE = ("cli", "web", "paper", "simulator", "lasers", "light")
"""Rooms of chalkbeam whose words are not the page's, or stand in its own texts."""

REPORT = ROOT / "src" / "chalkbeam" / "paper" / "run_report_words.py"
"""But for this file, whose words the page's reports share with those on paper."""

SPEAK = {"station", "record", "placement"}
"""Rooms where a single word may be an answer or one of two: yes, pressed, left."""

DATA = {"title", "says", "label", "name", "names", "basis", "source", "remark"}
"""Keys of the program's data files whose words are shown."""

PLACE = re.compile(r"(?<!\{)\{[^{}]*\}(?!\})")
CODE = re.compile(r"[\\<>|^$*_=]|^[A-Z ]{6,}\b|\b(CREATE|SELECT|INSERT|UPDATE)\b|^[^ ]*[./]\w+$|^-")
"""What no sentence looks like: patterns, queries, names of files."""


def said() -> list[str]:
    """Return every sentence of the program outside the page, numbers in braces for values."""
    found: dict[str, None] = {}
    for path in _sources():
        tree = ast.parse(path.read_text("utf-8"))
        found.update(dict.fromkeys(sentences(tree)))
        if SPEAK & set(path.relative_to(ROOT).parts):
            found.update(dict.fromkeys(single(tree)))
    for path in sorted((ROOT / "src" / "chalkbeam").glob("*/data/**/*.toml")):
        found.update(dict.fromkeys(_data(tomllib.loads(path.read_text("utf-8")))))
    found.update(dict.fromkeys(names()))
    return list(found)


def names() -> Iterator[str]:
    """Yield what the program's own things are called: garments, their parts, places, cloths."""
    from chalkbeam.garments import AGES, garment, sizes, styles
    from chalkbeam.garments.fabrics import fabrics
    from chalkbeam.locations import locations
    from chalkbeam.placement.platens import platens
    from chalkbeam.placement.words import line_words
    from chalkbeam.web.orders.table import MORE, TITLES

    yield from (*TITLES, *MORE, *fabrics())
    for age in AGES:
        yield from (age, f"{age} {{0}}")
    for name, place in locations().items():
        yield from (name.replace("-", " "), place.title)
    yield from platens()
    for style in styles():
        yield style.replace("_", " ")
        run = sizes(style)
        yield from (size for size in run if size.isalpha() and size.islower())
        made = garment(style, run[len(run) // 2])
        yield from (each.replace("_", " ") for each in (*made.measures, *made.faces))
        for face in map(made.face, made.faces):
            yield from map(line_words, (*face.along, *face.across))


def _sources() -> list[Path]:
    """Return the files whose words may be shown."""
    every = [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]
    left_out = {ROOT / "src" / "chalkbeam" / name for name in ELSEWHERE}
    return [path for path in every if path == REPORT or not left_out & set(path.parents)]


def sentences(tree: ast.AST) -> Iterator[str]:
    """Yield the words that stand in a file's code: none of its comments, names or formulas."""
    passed: set[int] = set()  # docstrings, and parts of what was yielded whole
    for node in ast.walk(tree):
        match node:
            case ast.Module() | ast.ClassDef() | ast.FunctionDef():
                passed |= {id(each.value) for each in node.body if isinstance(each, ast.Expr)}
            case ast.JoinedStr():
                passed |= {id(part) for part in node.values}
                passed |= {id(each) for each in ast.walk(node) if isinstance(each, ast.JoinedStr)}
                if not _is_format(node):
                    yield from _kept(_numbered(_joined(node.values)))
            case ast.Constant(value=str(words)) if id(node) not in passed:
                yield from _kept(_numbered(words))


def single(tree: ast.AST) -> Iterator[str]:
    """Yield the words that stand alone in a file's code, as values: none by which it looks up."""
    for node in ast.walk(tree):
        given = (
            node.elts if isinstance(node, ast.Tuple | ast.List)
            else [node.body, node.orelse] if isinstance(node, ast.IfExp)
            else node.values if isinstance(node, ast.Dict)
            else [node.value] if isinstance(node, ast.Assign | ast.Return)
            else []
        )  # fmt: skip
        for each in given:
            match each:
                case ast.Constant(value=str(word)) if re.fullmatch(r"[a-z]{2,}", word):
                    yield word


def _is_format(node: ast.JoinedStr) -> bool:
    """Whether this is how a value is printed (`:.1f`), not a text."""
    return all(isinstance(each, ast.Constant) for each in node.values)


def _joined(parts: list[ast.expr]) -> str:
    return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in parts)


def _numbered(words: str) -> str:
    count = iter(range(99))
    return PLACE.sub(lambda _: f"{{{next(count)}}}", words)


def _kept(words: str) -> Iterator[str]:
    plain = PLACE.sub(" ", words)
    letters = re.findall(r"[^\W\d_]+", plain)
    if not CODE.search(plain) and len(letters) >= (1 if PLACE.search(words) else 2):
        yield words


def _data(value: object, key: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for name, each in value.items():
            yield from _data(each, name)
    elif isinstance(value, list):
        for each in value:
            yield from _data(each, key)
    elif isinstance(value, str) and key in DATA:
        yield value


def file_of(sayings: list[str]) -> str:
    """Return the whole file, TOML."""
    rows = [f'{json.dumps(each, ensure_ascii=False)} = ""' for each in sayings]
    return OWN.read_text("utf-8") + "\n[said]\n" + "\n".join(rows) + "\n"


def main() -> None:
    """Write the file."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--out", type=Path, default=Path("texts.toml"))
    out: Path = options.parse_args().out
    out.write_text(file_of(said()), encoding="utf-8")
    print(f"{out}: translate it, and put it as texts.toml into the shop's data folder.")


if __name__ == "__main__":
    main()
