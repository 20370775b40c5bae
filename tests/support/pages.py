"""The pages that people read, taken apart: headings, links, code blocks and commands."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]

GUIDES = (
    "README.md",
    *(f"docs/{name}.md" for name in ("install", "calibrate", "shift", "presses", "page")),
    *(
        f"docs/{name}.md"
        for name in ("garments", "locations", "eye", "lasers", "accuracy", "words", "troubleshoot")
    ),
)
"""What a shop reads, in the order in which it would; docs/commands.md is made from the help."""

PAGES = (
    *GUIDES, "docs/commands.md", "DEVELOPERS.md", "CHANGELOG.md", "sample_images/README.md",
)  # fmt: skip


@dataclass(frozen=True)
class Block:
    """A code block: where it begins, what its opening line says, and its lines."""

    page: str
    line: int
    info: str
    lines: tuple[str, ...]


def read(page: str) -> str:
    """Return a page's text."""
    return (ROOT / page).read_text("utf-8")


def blocks(page: str) -> Iterator[Block]:
    """Yield the code blocks of a page, fenced ones and indented ones."""
    lines = read(page).splitlines()
    at = 0
    while at < len(lines):
        begun = at
        if lines[at].startswith("```"):
            at += 1
            while not lines[at].startswith("```"):
                at += 1
            info = lines[begun][3:].strip()
            yield Block(page, begun + 2, info, tuple(lines[begun + 1 : at]))
        elif lines[at].startswith("    ") and (not at or not lines[at - 1].strip()):
            while at < len(lines) and lines[at].startswith("    "):
                at += 1
            yield Block(page, begun + 1, "", tuple(line[4:] for line in lines[begun:at]))
        at += 1


@dataclass(frozen=True)
class Typed:
    """A command of the program as a page writes it."""

    page: str
    line: int
    words: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.page}:{self.line}: chalkbeam {shlex.join(self.words)}"


def typed(page: str) -> Iterator[Typed]:
    """Yield the commands in a page's code blocks, in their order."""
    for block in blocks(page):
        for offset, line in enumerate(block.lines):
            if line.startswith("chalkbeam "):
                words = tuple(shlex.split(line, comments=True)[1:])
                yield Typed(page, block.line + offset, words)


def files(page: str) -> Iterator[tuple[str, str]]:
    """Yield name and content of the files that a page shows: a fence that names one."""
    for block in blocks(page):
        _, _, name = block.info.partition(" ")
        if name:
            yield name, "\n".join(block.lines) + "\n"


def prose(page: str) -> str:
    """Return a page without its fenced blocks."""
    return re.sub(r"(?ms)^```.*?^```$", "", read(page))


def anchors(page: str) -> set[str]:
    """Return what links to a page's headings may say after the #, as usual renderers have it."""
    found = set()
    for heading in re.findall(r"(?m)^#{1,6} (.+)$", prose(page)):
        plain = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", heading).replace("`", "").lower()
        found.add(re.sub(r"[^\w\- ]", "", plain).strip().replace(" ", "-"))
    return found
