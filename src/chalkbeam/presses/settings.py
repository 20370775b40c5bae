"""What a shop says once for all its machines, and a machine for its own press.

`shop.toml` in the user's data folder is the shop's: the queue hands it on, as it does the shop's
other files. `press.toml` beside it stays on its machine.
"""

from __future__ import annotations

from enum import Enum
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, field_validator

from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import checked_data, parse_toml, read_data, read_text
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.orders.settings import Degrees
from chalkbeam.presses.address import read_address
from chalkbeam.presses.places import PRESS_FILE, machine_name, settings_file


class PaperInPrinter(Enum):
    """Size of the paper in the shop's printer."""

    LETTER = "letter"
    A4 = "a4"


class ShopSettings(BaseModel):
    """The file `shop.toml`: the address of the queue, and options by their names.

    What is said in a command goes before; None is what nobody has said.

    Attributes
    ----------
    record : str
        Address of the queue; empty for a record of this machine's own.
    units, degrees, paper, confirm, overhang, aside, on_top, tolerance, turn_tolerance
        As the options of these names; lengths with their unit.
    """

    model_config = ConfigDict(extra="forbid", alias_generator=lambda name: name.replace("_", "-"))

    record: str = ""
    units: Unit | None = None
    degrees: Degrees | None = None
    paper: PaperInPrinter | None = None
    confirm: bool | None = None
    overhang: str | None = None
    aside: str | None = None
    on_top: bool | None = None
    tolerance: str | None = None
    turn_tolerance: float | None = Field(default=None, gt=0)

    @field_validator("record")
    @classmethod
    def _is_address(cls, text: str) -> str:
        if text:
            try:
                read_address(text)
            except Refusal as refusal:
                raise ValueError(str(refusal)) from None
        return text

    @field_validator("overhang", "aside", "tolerance")
    @classmethod
    def _is_length(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                parse_length(text)
            except Refusal as refusal:
                raise ValueError(str(refusal)) from None
        return text

    def options(self) -> dict[str, Any]:
        """Return what is said of options, by the names of their parameters."""
        return self.model_dump(exclude={"record"}, exclude_none=True)


class OwnSettings(BaseModel):
    """The file `press.toml`.

    Attributes
    ----------
    press : str
        Name of this machine's press; the computer's without.
    pads : list of str or None
        Pads of this press; None: whatever is wanted.
    """

    model_config = ConfigDict(extra="forbid")

    press: str = ""
    pads: list[str] | None = None


def shop_settings() -> ShopSettings:
    """Return the shop's settings; those of one that has said nothing where there is no file.

    Raises
    ------
    Refusal
        If the file cannot be used.
    """
    path = settings_file()
    return read_shop(read_text(path), str(path)) if path.is_file() else ShopSettings()


def read_shop(text: str, name: str) -> ShopSettings:
    """Return the settings that the text of a file of this name says.

    Raises
    ------
    Refusal
        If it cannot be used.
    """
    raw = parse_toml(text, name)
    own = [key for key in OwnSettings.model_fields if key in raw]
    if own:
        raise Refusal(
            f"{name} says “{own[0]}”, which is one machine's and not the shop's: move that line "
            f"to the file {PRESS_FILE} beside it."
        )
    return checked_data(raw, text, ShopSettings, name)


def own_settings() -> OwnSettings:
    """Return this machine's settings; those of one that has said nothing where there is no file.

    Raises
    ------
    Refusal
        If the file cannot be used.
    """
    path = settings_file(PRESS_FILE)
    return read_data(path, OwnSettings) if path.is_file() else OwnSettings()


def own_name(given: str = "") -> str:
    """Return what this machine's press is called: as `given`, by its settings, or as the machine.

    Raises
    ------
    Refusal
        If the settings cannot be used.
    """
    return given or own_settings().press or machine_name()
