"""Crosses that have been set but make no rig yet, saved in a file next to the rig's."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from calibration.files import read_whole, write_whole
from calibration.geometry import XY
from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.setup.crosses.state import CrossState

KIND, VERSION = "chalkbeam crosses", 1

_SET_AGAIN = Remedy(RemedyKind.SET_AGAIN, "set all crosses again")


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    kind: str = KIND
    version: int = VERSION
    platen_mm: XY
    size_px: tuple[int, int]
    points_mm: tuple[XY, ...]
    pixels: tuple[XY, ...]


@dataclass(frozen=True)
class SavedCrosses:
    """The file in which crosses are saved until they make a rig.

    Attributes
    ----------
    path : Path
    """

    path: Path

    @classmethod
    def for_rig(cls, rig: Path) -> SavedCrosses:
        """Return the file for a rig that will be written to `rig`."""
        return cls(rig.with_name(f"{rig.name.removesuffix('.json')}.crosses"))

    def save(self, state: CrossState) -> None:
        """Write the crosses that are set: whole or not at all."""
        placed = state.placed
        content = _File(
            platen_mm=(state.face.width, state.face.depth),
            size_px=state.size,
            points_mm=tuple(mark.point for mark in state.marks[: len(placed)]),
            pixels=placed,
        )
        write_whole(self.path, content.model_dump_json(indent=1) + "\n")

    def resume(self, state: CrossState) -> CrossState:
        """Return the state with the crosses saved before, as far as they belong to its marks.

        Raises
        ------
        Refusal
            If the file cannot be read, or is of another platen, projector or marks.
        """
        file = self._read()
        if file is None:
            return state
        points = [mark.point for mark in state.marks]
        fitting = zip(points, file.points_mm, strict=False)
        same = len(list(itertools.takewhile(lambda pair: pair[0] == pair[1], fitting)))
        asked = (state.face.width, state.face.depth), state.size
        if (file.platen_mm, file.size_px) != asked or not same:
            across, deep = file.platen_mm
            width, height = file.size_px
            raise Refusal(
                f"“{self.path}” holds {len(file.pixels)} crosses set before, for a platen of "
                f"{across:g} mm x {deep:g} mm and {width}x{height} pixels, that do not belong to "
                "these marks: ",
                Remedy(RemedyKind.SAME_MARKS, "give platen, size and inset as then"),
                ", or ",
                _SET_AGAIN,
                ".",
            )
        return replace(state, pixels=file.pixels[:same])

    def _read(self) -> _File | None:
        try:
            file = _File.model_validate_json(read_whole(self.path))
        except FileNotFoundError:
            return None
        except (OSError, ValueError):  # of which pydantic's errors are
            file = None
        usable = file is not None and (file.kind, file.version) == (KIND, VERSION)
        if file is None or not usable or len(file.pixels) != len(file.points_mm):
            raise Refusal(f"“{self.path}” holds no crosses that can be used: ", _SET_AGAIN, ".")
        return file

    def delete(self) -> None:
        """Remove the file."""
        self.path.unlink(missing_ok=True)
