"""docs/commands.md is what the program's help says; the README names every command."""

from __future__ import annotations

import re

from tests.support.pages import read
from tools import commands_page


def test_the_page_is_what_the_help_says() -> None:
    again = "python -m tools.commands_page"
    assert read("docs/commands.md") == commands_page.page(), f"write it anew: {again}"


def test_the_readme_names_every_command_at_a_glance() -> None:
    from typer.main import get_command

    from chalkbeam.cli.app import app

    (glance,) = re.findall(r"(?ms)^## Commands at a glance$(.*?)^## ", read("README.md"))
    commands = get_command(app).commands  # type: ignore[attr-defined]
    assert set(re.findall(r"`(\w+)`", glance)) == set(commands)
