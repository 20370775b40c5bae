"""What a machine says once of the queue and of its press, and where the press's record is."""

from __future__ import annotations

import hashlib
import platform
import re
from pathlib import Path

import platformdirs
from pydantic import BaseModel, ConfigDict

from chalkbeam.basics.toml_files import read_data
from chalkbeam.presses.address import Address


class ShopSettings(BaseModel):
    """The file `shop.toml` of the user's data folder.

    Attributes
    ----------
    record : str
        Address of the queue; empty for a record of this machine's own.
    press : str
        Name of this machine's press; the computer's without.
    pads : list of str or None
        Pads of this press; None: whatever is wanted.
    """

    model_config = ConfigDict(extra="forbid")

    record: str = ""
    press: str = ""
    pads: list[str] | None = None


def settings_file() -> Path:
    """Return the file of the settings (it need not exist)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "shop.toml"


def shop_settings() -> ShopSettings:
    """Return the settings; those of a shop that has said nothing where there is no file.

    Raises
    ------
    Refusal
        If the file cannot be used.
    """
    path = settings_file()
    return read_data(path, ShopSettings) if path.is_file() else ShopSettings()


def machine_name() -> str:
    """Return what people call this computer."""
    return platform.node() or "this computer"


def press_record(address: Address, press: str) -> Path:
    """Return the file of a press's own record of a queue's orders; its journal stands beside it."""
    key = hashlib.sha256(address.url.render_as_string().encode()).hexdigest()[:12]
    name = re.sub(r"[^\w-]+", "-", press.casefold()).strip("-") or "press"
    data = platformdirs.user_data_path("chalkbeam", appauthor=False)
    return data / "presses" / f"{name}-{key}" / "record.db"
