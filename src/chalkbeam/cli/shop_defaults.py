"""What the shop's settings say of options that nobody has given."""

from __future__ import annotations

from dataclasses import fields, replace
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.presses.settings import ShopSettings

AT_THE_PRESS = {"run", "read"}
"""Commands whose tolerance is that of a transfer seen, and not of a calibration."""
OF_SEEING = {"tolerance", "turn_tolerance"}


def defaults_of(command: Any, settings: ShopSettings) -> dict[str, Any]:
    """Return what the settings say of each option, as the parser takes it: nested by command."""
    said = {
        name: value.value if isinstance(value, Enum) else value
        for name, value in settings.options().items()
    }

    def under(found: Any, name: str) -> dict[str, Any]:
        inside = getattr(found, "commands", None)
        if inside is not None:
            return {each: under(inner, each) for each, inner in inside.items()}
        taken = {parameter.name for parameter in found.params} & said.keys()
        if name not in AT_THE_PRESS:
            taken -= OF_SEEING
        return {each: said[each] for each in taken}

    return under(command, "")


def with_shop(asked: RunOptions, settings: ShopSettings) -> RunOptions:
    """Return what is asked of a run, with what the settings say where nobody has said it."""
    said = settings.options()
    free = {each.name for each in fields(asked)} - asked.given
    return replace(asked, **{name: said[name] for name in said.keys() & free})
