"""No sentence outside the command line names an option or a command: those are its own words."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.main import get_command

from calibration.rig import file as rig_file
from chalkbeam.cli.app import app
from chalkbeam.setup.crosses import saved

ROOT = Path(__file__).parents[1]
CLI = ROOT / "src" / "chalkbeam" / "cli"
NO_SENTENCES = {
    rig_file.KIND,  # what a file says it is
    saved.KIND,
    "--format",  # an option of another program, fc-list
}


def commands(group: object, path: str) -> Iterator[str]:
    """Yield every command and group by the words that are typed."""
    for name, command in getattr(group, "commands", {}).items():
        words = f"{path} {name}".strip()
        yield words
        yield from commands(command, words)


COMMANDS = sorted(commands(get_command(app), ""), key=len, reverse=True)
TYPED = re.compile(
    r"(?<![\w-])--[a-z]"  # an option
    rf"|chalkbeam (?:{'|'.join(COMMANDS)})\b"
    rf"|`(?:{'|'.join(COMMANDS)})\b"
    rf"|\b(?:{'|'.join(each for each in COMMANDS if ' ' in each)})\b"
    r"|python -m"
)


def found(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and text of every string literal, docstrings apart, that names what is typed."""
    every = list(ast.walk(ast.parse(source)))
    documents = {node.value for node in every if isinstance(node, ast.Expr)}
    for node in every:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in documents:
            text = " ".join(node.value.split())
            if TYPED.search(text) and text not in NO_SENTENCES:
                yield node.lineno, text


def test_options_and_commands_are_named_by_the_command_line_alone() -> None:
    parts = (ROOT / "calibration", ROOT / "overlay", ROOT / "src" / "chalkbeam")
    files = [path for part in parts for path in part.rglob("*.py") if CLI not in path.parents]
    assert len(files) > 100
    named = [
        f"{path.relative_to(ROOT)}:{line}: {text}"
        for path in files
        for line, text in found(path.read_text("utf-8"))
    ]
    assert not named


@pytest.mark.parametrize(
    "text",
    [
        "say(f'give its width, such as --width {wide:g}mm')",
        "say('make one with chalkbeam calibrate')",
        "say('list them with `report`')",
        "say('crosses take it out (crosses touch-up)')",
    ],
)
def test_what_is_typed_is_known(text: str) -> None:
    assert list(found(text))
