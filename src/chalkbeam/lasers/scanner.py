"""A laser scanner as its maker and its owner state it, and its geometry as fitted.

The maker classifies a laser. This program only asks what class is stated for the beam *standing
still*, since a scanner can stop, and takes no unit above class 2; it makes nothing safe.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import tomlkit
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from calibration.files import write_whole
from calibration.model.scanner import ScannerMap
from calibration.refusal import Refusal
from calibration.solve.scanner import ScannerFit
from chalkbeam.basics.toml_files import parse_data, read_text
from chalkbeam.basics.units import parse_length
from overlay.laser.paths import Pace

ACCEPTED = ("1", "2")
"""Classes of IEC 60825-1 that are taken: those in which the eye's own aversion suffices, as far
as the standard goes (from memory)."""

STEPS = 40
"""A point steps at most this share of the angle at which the points a second are stated: 0.2
degrees at 8, 4 mm from 1.15 m. An assumption, to be replaced by trying."""
DARK = 4.0
"""Unlit steps are so much longer."""


@dataclass(frozen=True)
class ScannerUnit:
    """A scanner over a platen.

    Attributes
    ----------
    name : str
    class_at_rest : str
        As its maker states it for the beam standing still.
    points_a_second : float
    stated_at : float
        The angle, edge to edge, at which that is stated, radians.
    full_angle : float
        From signal -1 to 1, radians.
    place : (x, y, z)
        Where it hangs, platen frame, mm.
    fit : ScannerFit or None
        Its geometry as measured; without, it is taken to hang plumb, as stated.
    """

    name: str
    class_at_rest: str
    points_a_second: float
    stated_at: float
    full_angle: float
    place: tuple[float, float, float]
    fit: ScannerFit | None = None

    @property
    def stated(self) -> ScannerMap:
        """The geometry that is stated."""
        return ScannerMap.hung(self.place, self.full_angle)

    @property
    def scanner(self) -> ScannerMap:
        """The best that is known of its geometry."""
        return self.stated if self.fit is None else self.fit.scanner

    @property
    def pace(self) -> Pace:
        """How it is driven."""
        lit = self.stated_at / STEPS / (self.full_angle / 2)
        return Pace(lit, DARK * lit)


def _mm(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError('write a length with its unit, such as "1150 mm"')
    return parse_length(value)


_Length = Annotated[float, BeforeValidator(_mm)]
_Row = Annotated[tuple[float, ...], Field(min_length=11, max_length=11)]


def _possible(row: tuple[float, ...]) -> tuple[float, ...]:
    """Pass the parameters of a scanner that can be."""
    turn, place, gap, gains, cubics = row[:3], row[3:6], row[6], row[7:9], row[9:]
    can_be = (
        max(map(abs, turn)) <= 2 * math.pi
        and max(map(abs, place)) <= 20_000
        and abs(gap) <= 200
        and all(0.5 <= abs(gain) <= 50 for gain in gains)
        and max(map(abs, cubics)) <= 1
    )
    if not can_be:
        raise ValueError("no scanner has these: fit it again")
    return row


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Unit(_Strict):
    name: Annotated[str, Field(max_length=40)] = ""
    class_at_rest: Annotated[str, Field(max_length=4)]
    kpps: Annotated[float, Field(ge=1, le=200)]
    kpps_angle: Annotated[float, Field(ge=1, le=90)]
    full_angle: Annotated[float, Field(ge=5, le=100)]
    place: Annotated[tuple[_Length, ...], Field(min_length=3, max_length=3)]


class _Fit(_Strict):
    parameters: Annotated[_Row, AfterValidator(_possible)]
    swapped: bool
    covariance: Annotated[tuple[_Row, ...], Field(min_length=11, max_length=11)]
    freedom: Annotated[int, Field(ge=1, le=10_000)]
    rms_mm: Annotated[float, Field(ge=0, le=1000)]


class _ScannerFile(_Strict):
    scanner: _Unit
    fit: _Fit | None = None


def read_scanner(path: Path) -> ScannerUnit:
    """Return the scanner of a file.

    Raises
    ------
    Refusal
        If it cannot be used, or its stated class is above 2.
    """
    if not path.is_file():
        raise Refusal(f"There is no file {path} of a scanner: write one, as the guide shows.")
    file = parse_data(read_text(path), _ScannerFile, str(path))
    unit = file.scanner
    if unit.class_at_rest.strip() not in ACCEPTED:
        raise Refusal(
            f"{path} states class {unit.class_at_rest} with the beam standing still: only units "
            "that their maker states as class 1 or 2 at rest are taken. Scanning does not make a "
            "stronger one safe, for a scanner can stop."
        )
    if not 200 <= unit.place[2] <= 10_000:
        raise Refusal(f"{path} hangs its scanner {unit.place[2]:g} mm above the platen: measure up "
                      "from it, 200 mm to 10 m.")  # fmt: skip
    fit = None
    if file.fit is not None:
        fit = ScannerFit(
            ScannerMap.from_vector(file.fit.parameters, file.fit.swapped), file.fit.covariance,
            file.fit.freedom, file.fit.rms_mm,
        )  # fmt: skip
    return ScannerUnit(
        unit.name or path.stem, unit.class_at_rest.strip(), 1000 * unit.kpps,
        math.radians(unit.kpps_angle), math.radians(unit.full_angle),
        (unit.place[0], unit.place[1], unit.place[2]), fit,
    )  # fmt: skip


def write_fitted(path: Path, unit: ScannerUnit, fit: ScannerFit) -> ScannerUnit:
    """Write a scanner with its geometry as fitted, and return it."""
    document = tomlkit.document()
    document["scanner"] = {
        "name": unit.name,
        "class_at_rest": unit.class_at_rest,
        "kpps": unit.points_a_second / 1000,
        "kpps_angle": math.degrees(unit.stated_at),
        "full_angle": math.degrees(unit.full_angle),
        "place": [f"{length:g} mm" for length in unit.place],
    }
    document["fit"] = {
        "parameters": [float(value) for value in fit.scanner.vector],
        "swapped": fit.scanner.swapped,
        "covariance": [list(row) for row in fit.covariance],
        "freedom": fit.freedom,
        "rms_mm": fit.rms,
    }
    write_whole(path, tomlkit.dumps(document))
    return replace(unit, fit=fit)
