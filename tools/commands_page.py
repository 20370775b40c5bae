"""Write docs/commands.md from the program's own help: ``python -m tools.commands_page``.

A test compares the page with what is written here, so that neither runs ahead.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

import typer

from chalkbeam.cli.app import app

PAGE = Path(__file__).parents[1] / "docs" / "commands.md"

HEAD = """\
# Commands

What every command takes, as `chalkbeam COMMAND --help` says it; made from the program by
`python -m tools.commands_page`. Options may stand in any order. A length carries its unit
(`89mm`, `8.9cm`, `3.5in`, `"3 1/2 in"`): one without is refused, never guessed. The program
ends with 0 when it is done, 1 when the answer is no (a check failed), 2 when something given
cannot be used; it then says in one sentence what to do.
"""


def page() -> str:
    """Return the page: a list of the commands, then each with its options."""
    found = list(commands(typer.main.get_command(app), "chalkbeam"))
    index = [f"- [`{name}`](#{anchor(name)}): {_first_line(each)}" for name, each in found]
    return "\n".join([HEAD, *index, "", *(_section(name, each) for name, each in found)])


def commands(group: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Yield every command with its whole name, in the order of the help."""
    for name, each in group.commands.items():
        if getattr(each, "hidden", False):
            continue
        if hasattr(each, "commands"):
            yield from commands(each, f"{path} {name}")
        else:
            yield f"{path} {name}", each


def anchor(heading: str) -> str:
    """Return the link to a heading that consists of plain words."""
    return heading.replace(" ", "-")


def _first_line(command: Any) -> str:
    said = str(command.help or "").split("\n\n")[0]
    return " ".join(said.split())


def _section(name: str, command: Any) -> str:
    shown = [each for each in command.params if not getattr(each, "hidden", False)]
    words = [each for each in shown if each.param_type_name == "argument"]
    options = [each for each in shown if each.param_type_name == "option"]
    usual = [_word(each) if each.required else f"[{_word(each)}]" for each in words]
    usual += [_typed(each) for each in options if each.required]
    if any(not each.required for each in options):
        usual.append("[OPTIONS]")
    lines = [f"## {name}", "", _first_line(command), "", "```", " ".join([name, *usual]), "```", ""]
    rows = [(f"`{_word(each)}`", each) for each in words]
    rows += [(f"`{_typed(each)}`", each) for each in options]
    if rows:
        lines += ["| | |", "|---|---|"]
        lines += [f"| {typed} | {_meaning(each)} |" for typed, each in rows]
        lines.append("")
    return "\n".join(lines)


def _word(argument: Any) -> str:
    """Return what stands for an argument: its own words, or its name in capitals."""
    return str(argument.metavar or argument.name.upper().replace("_", "-").rstrip("."))


def _typed(option: Any) -> str:
    """Return an option as it is typed, with what its value is."""
    names = " or ".join([*option.opts, *option.secondary_opts])
    if option.is_flag:
        return names
    kind = option.type_descriptor.annotation
    closed = isinstance(kind, type) and issubclass(kind, Enum)
    return f"{names} {' or '.join(str(each.value) for each in kind) if closed else '…'}"


def _meaning(parameter: Any) -> str:
    said = " ".join(str(parameter.help or "").split()).replace("|", "\\|")
    default = parameter.default
    if isinstance(default, Enum):
        default = default.value
    if parameter.required:
        return f"{said} Needed."
    if default in (None, False, ""):
        return said
    usual = f"{default:g}" if isinstance(default, float) else default
    return f"{said} Usual: {usual}."


def main() -> None:
    """Write the page."""
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
