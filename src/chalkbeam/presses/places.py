"""Where a machine keeps what it knows of its shop and its press."""

from __future__ import annotations

import hashlib
import platform
import re
import uuid
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from calibration.files import read_whole, write_whole

if TYPE_CHECKING:
    from chalkbeam.presses.address import Address

SHOP_FILE = "shop.toml"
PRESS_FILE = "press.toml"


def settings_file(name: str = SHOP_FILE) -> Path:
    """Return a file of settings (it need not exist)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / name


def machine_name() -> str:
    """Return what people call this computer."""
    return platform.node() or "this computer"


def press_id(record: Path) -> str:
    """Return the id of a press whose record is this file; it is made once, before all else.

    It is kept apart from the record, whose first line comes with the press's first order.
    """
    path = record.with_name("press.id")
    with suppress(OSError):
        known = read_whole(path).decode("ascii", "replace").strip()
        if len(known) == 32:
            return known
    own = uuid.uuid4().hex
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, own)
    return own


def press_record(address: Address, press: str) -> Path:
    """Return the file of a press's own record of a queue's orders; its journal stands beside it."""
    key = hashlib.sha256(address.url.render_as_string().encode()).hexdigest()[:12]
    name = re.sub(r"[^\w-]+", "-", press.casefold()).strip("-") or "press"
    data = platformdirs.user_data_path("chalkbeam", appauthor=False)
    return data / "presses" / f"{name}-{key}" / "record.db"
