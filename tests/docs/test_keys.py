"""The README's table of keys is the program's."""

from __future__ import annotations

import re

from chalkbeam.station.keys import Act, keys_for
from tests.support.pages import read

ALSO = {".", "f1", "ctrl z", "ctrl y", "ctrl q"}
"""Second names of a key that the table leaves out; H shows them."""


def table() -> set[str]:
    """Return the keys of the README's table, lower case."""
    rows = re.findall(r"(?m)^\| (.+?) \| .+? \| (.+?) \| .+? \|$", read("README.md"))
    keys = ", ".join(key for row in rows for key in row if row != ("key", "key"))
    return {each.strip().removesuffix(" twice").lower() for each in keys.split(",")}


def test_every_key_of_the_station_is_in_the_readme_and_no_other() -> None:
    known = {key.lower() for act in Act for key in keys_for(act)}
    assert table() == known - ALSO
