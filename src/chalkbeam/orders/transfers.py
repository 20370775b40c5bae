"""The shop's shelf of transfer products, as it enters them from its suppliers' sheets.

Nothing is known of a product but what the shop has written; nothing is filled in or proposed.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

import platformdirs
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import choices
from chalkbeam.basics.toml_files import read_data
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

    transfer: dict[str, TransferProduct]


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
