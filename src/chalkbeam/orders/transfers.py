"""The shop's shelf of transfer products, as it enters them from its suppliers' sheets.

Nothing is known of a product but what the shop has written; nothing is filled in or proposed.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import platformdirs
import tomlkit
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import choices
from chalkbeam.basics.toml_files import parse_data, read_data, read_text
from chalkbeam.basics.units import parse_length

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?(?:\s*[-–]\s*\d+(?:[.,]\d+)?)?")


def _with_unit(text: str) -> str:
    if _NUMBER.fullmatch(text.strip()):
        raise ValueError(f"“{text}” has no unit: write it as the supplier gives it, with one")
    return text.strip()


def _mm(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError('write a length with its unit, such as "0.25 in"')
    return parse_length(value)


CARRIERS = ("", "clear", "opaque", "mirrored")
"""What a print may lie on; the first where nobody says."""

_Measured = Annotated[str, AfterValidator(_with_unit)]


class TransferProduct(BaseModel):
    """One transfer product.

    Attributes
    ----------
    supplier : str
    temperature, time, pressure, peel, cooling, prepress, second_press : str
        Word for word as the supplier's sheet gives them; empty where it gives none.
    carrier : {"", "clear", "opaque", "mirrored"}
        What the print lies on: a mirrored one is seen through its carrier.
    margin : float or None
        Blank carrier around the ink, mm.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    supplier: str = ""
    temperature: _Measured = ""
    time: _Measured = ""
    pressure: str = ""
    peel: str = ""
    cooling: _Measured = ""
    prepress: _Measured = ""
    second_press: _Measured = ""
    carrier: Literal["", "clear", "opaque", "mirrored"] = ""
    margin: Annotated[float, BeforeValidator(_mm), Field(ge=0, le=200)] | None = None

    def said(self, field: str) -> str:
        """Return what the supplier's sheet says of a column of the run sheet."""
        return str(getattr(self, field.replace(" ", "_"), ""))


class _Shelf(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    transfer: dict[str, TransferProduct] = Field(default_factory=dict)


def transfers_file() -> Path:
    """Return the file of the shop's transfers (it need not exist)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "transfers.toml"


@functools.lru_cache(maxsize=8)
def _read(path: Path, changed: int) -> Mapping[str, TransferProduct]:
    del changed  # its time of change makes an edited file be read again
    return read_data(path, _Shelf).transfer


def transfers() -> Mapping[str, TransferProduct]:
    """Return every transfer product by its name.

    Raises
    ------
    Refusal
        If the shop's file is unusable, with the line that is wrong.
    """
    path = transfers_file()
    return _read(path, path.stat().st_mtime_ns) if path.is_file() else {}


def keep_transfer(name: str, fields: Mapping[str, str], was: str = "") -> Path:
    """Put a product on the shelf, in place of one that was called so; return the shop's file.

    The rest of the file stays as its owner wrote it.

    Parameters
    ----------
    name : str
    fields : mapping of str to str
        As `TransferProduct` has them, as text; what is empty is not said.
    was : str
        The name under which it is there already; empty for a new one.

    Raises
    ------
    Refusal
        If the product cannot be so, another has the name, or the file is faulty.
    """
    known = transfers()
    if not name:
        raise Refusal("The transfer has no name yet: type what the shop calls it.")
    if name != was and name in known:
        raise Refusal(f"There is a transfer “{name}” already: change that one, or choose a name.")

    def kept(shelf: Any) -> None:
        entry = shelf.get(was) if was in shelf else tomlkit.table()
        for field, said in fields.items():
            if said:
                entry[field] = said
            elif field in entry:
                del entry[field]
        if was != name:
            shelf.pop(was, None)
        shelf[name] = entry

    return _changed(kept)


def take_off(name: str) -> Path:
    """Take a product off the shelf; return the shop's file.

    Raises
    ------
    Refusal
        If there is none of that name, or the file is faulty.
    """
    own, _ = find_transfer(name)
    return _changed(lambda shelf: shelf.pop(own))


def _changed(change: Callable[[Any], object]) -> Path:
    """Change the shop's file as it is written, if what comes of it can be read."""
    path = transfers_file()
    document = tomlkit.parse(read_text(path)) if path.is_file() else tomlkit.document()
    shelf = document.setdefault("transfer", tomlkit.table(is_super_table=True))
    change(shelf)
    text = tomlkit.dumps(document)
    parse_data(text, _Shelf, "The transfer")
    write_whole(path, text)
    return path


def find_transfer(name: str) -> tuple[str, TransferProduct]:
    """Return a product's name as the shop writes it, and the product.

    Raises
    ------
    Refusal
        If the shelf has none of that name.
    """
    known = transfers()
    wanted = " ".join(name.casefold().split())
    for own, found in known.items():
        if " ".join(own.casefold().split()) == wanted:
            return own, found
    if not known:
        raise Refusal(
            f"There is no transfer “{name}”: the shop's shelf is empty. Enter it in "
            f"{transfers_file()} from its supplier's sheet."
        )
    raise Refusal(f"There is no transfer “{name}”: {choices(name, list(known))}.")
