"""The rig file: one press with its projector, on disk, with the observations behind it.

A rig file is JSON with a version. Older versions are brought up to date on
load, one step at a time; a newer one is refused, since guessing at its meaning
could put light in the wrong place.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, ValidationError

from calibration.files import read_whole, write_whole
from calibration.geometry import XY, PlatenFace, xy_tuple
from calibration.model.eye import Eye
from calibration.model.pinhole import PARAMETERS
from calibration.model.projector import ProjectorMap
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.possible import (
    OF_MAP,
    check_covariance,
    check_map,
    check_matrix,
    check_numbers,
    check_text,
)
from calibration.solve.values import CardPlan, Cross, Inherited, MapFit, Stated

if TYPE_CHECKING:
    from calibration.solve.fit import Solution

VERSION = 6
KIND = "chalkbeam rig"


@dataclass(frozen=True)
class Rig:
    """One press with its projector: the map between them and what it rests on.

    Attributes
    ----------
    name : str
        The operator's name for it.
    face : PlatenFace
        The platen it was made for.
    projector : ProjectorMap
        Platen to projector.
    fit : MapFit
        How well the map is known.
    stated : Stated
        What the operator stated.
    photos : tuple of PhotoObservation
        Corners found in each photo.
    crosses : tuple of Cross
        Crosses moved by hand, for a rig made or touched up without a camera.
    plans : tuple of CardPlan
        Where the cards were meant to lie.
    pattern : tuple of (index, (x, y))
        Projector px of the pattern's corners that were seen.
    inherited : Inherited or None
        What a repair took over from the calibration before.
    made_at : str
        ISO 8601 time with its zone.
    eye : Eye or None
        The fixed camera, where one was fitted to this very map: a new map has none.
    platen : str
        What the platen is called; empty for by its size.
    platens : tuple of Rig
        The press's further platens (`platens`), each in the frame of its own face.
    """

    name: str
    face: PlatenFace
    projector: ProjectorMap
    fit: MapFit
    stated: Stated = Stated()  # noqa: RUF009 - a frozen value
    photos: tuple[PhotoObservation, ...] = ()
    crosses: tuple[Cross, ...] = ()
    plans: tuple[CardPlan, ...] = ()
    pattern: tuple[tuple[int, XY], ...] = ()
    inherited: Inherited | None = None
    made_at: str = ""
    eye: Eye | None = None
    platen: str = ""
    platens: tuple[Rig, ...] = ()

    @classmethod
    def of(
        cls, solution: Solution, name: str, face: PlatenFace, made_at: datetime | None = None
    ) -> Rig:
        """Return the rig of a solution, made now unless a time is given.

        Parameters
        ----------
        solution : solve.Solution
        name : str
        face : PlatenFace
        made_at : datetime, optional
            With its zone.
        """
        model = solution.problem.model
        seen = sorted({k for photo in solution.photos for k in (c.index for c in photo.pattern)})
        when = made_at or datetime.now().astimezone()
        return cls(
            name=name,
            face=face,
            projector=solution.map,
            fit=solution.fit,
            stated=solution.stated,
            photos=solution.photos,
            crosses=model.crosses,
            plans=solution.plans,
            pattern=tuple(zip(seen, xy_tuple(model.pattern[seen]), strict=True)),
            inherited=solution.inherited,
            made_at=when.isoformat(timespec="seconds"),
        )

    @functools.cached_property
    def calibration_id(self) -> str:
        """Ten hexadecimal digits that change whenever the calibration does.

        Names are no part of it, nor are the further platens, which have numbers of their own.
        Worked out once, for a rig never changes and this takes all that was observed. A rig read
        from a file of an older version has another one than it had then.
        """
        content = asdict(replace(self, platens=()))
        return _check_number({k: v for k, v in content.items() if k not in ("platen", "platens")})


def _check_number(rig: dict[str, Any]) -> str:
    content = json.dumps(rig | {"name": ""}, sort_keys=True)
    return hashlib.sha256(content.encode()).hexdigest()[:10]


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    kind: str
    version: int
    calibration_id: str
    rig: Rig


def _widened(content: dict[str, Any], by: int) -> dict[str, Any]:
    """Give the map more parameters, 0 and known exactly."""

    def wider(matrix: list[list[float]]) -> list[list[float]]:
        size = len(matrix) + by
        return [*([*row, *[0.0] * by] for row in matrix), *([[0.0] * size] * by)]

    rig = content["rig"]
    fit, past = rig["fit"], rig["inherited"]
    fit = fit | {"covariance": wider(fit["covariance"])}
    if past is not None:
        past = {"mean": [*past["mean"], *[0.0] * by], "covariance": wider(past["covariance"])}
    return content | {"rig": rig | {"fit": fit, "inherited": past}}


def _with_bow(content: dict[str, Any]) -> dict[str, Any]:
    """Make version 2 of version 1, which took every platen for flat."""
    wide = _widened(content, 3)
    projector = wide["rig"]["projector"] | {"bow": {"xx": 0.0, "xy": 0.0, "yy": 0.0}}
    return wide | {"rig": wide["rig"] | {"projector": projector}}


def _with_bend(content: dict[str, Any]) -> dict[str, Any]:
    """Make version 3 of version 2, which took every picture for unbent."""
    wide = _widened(content, 2)
    fit = wide["rig"]["fit"]
    return wide | {"rig": wide["rig"] | {"fit": fit | {"notes": [*fit["notes"], TAKEN_UNBENT]}}}


TAKEN_UNBENT = (
    "Made when bounds did not yet allow for a keystone correction left on, which counts on thick "
    "cloth: calibrate again for that."
)
"""Said of a rig of version 2 or older, whose bounds stay as they were."""


def _with_eye(content: dict[str, Any]) -> dict[str, Any]:
    """Make version 4 of version 3, which knew of no fixed camera."""
    return content | {"rig": content["rig"] | {"eye": None}}


def _with_platens(content: dict[str, Any]) -> dict[str, Any]:
    """Make version 5 of version 4, which knew of one platen, by no name."""
    return content | {"rig": content["rig"] | {"platen": "", "platens": []}}


def _with_edges(content: dict[str, Any]) -> dict[str, Any]:
    """Make version 6 of version 5, which did not look for the platen's edges."""

    def wider(rig: dict[str, Any]) -> dict[str, Any]:
        photos = [photo | {"edges": []} for photo in rig["photos"]]
        return rig | {"photos": photos, "platens": [wider(each) for each in rig["platens"]]}

    return content | {"rig": wider(content["rig"])}


MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {
    1: _with_bow,
    2: _with_bend,
    3: _with_eye,
    4: _with_platens,
    5: _with_edges,
}
"""For each older version, the step that makes the next version's content out of it."""


def save(rig: Rig, path: Path | str) -> None:
    """Write a rig file: whole or not at all.

    Raises
    ------
    Refusal
        If the place cannot be written to.
    """
    number = _check_number(asdict(rig))
    content = _File(kind=KIND, version=VERSION, calibration_id=number, rig=rig)
    write_whole(Path(path), content.model_dump_json() + "\n")


def load(path: Path | str) -> Rig:
    """Read a rig file of this or an older version.

    Raises
    ------
    Refusal
        If the file is missing, unreadable, not a rig, damaged or newer than this program.
    """
    place = Path(path)
    try:
        content = json.loads(read_whole(place))
    except FileNotFoundError:
        raise Refusal(
            f"There is no rig file at “{place}”: ",
            Remedy(RemedyKind.NEW_RIG_FILE, "make one", str(place)),
            ".",
        ) from None
    except OSError as error:
        raise Refusal(
            f"The rig file “{place}” cannot be read ({error.strerror}): check its place and rights."
        ) from None
    except Refusal:
        raise
    except (ValueError, RecursionError):
        raise Refusal(
            f"The rig file “{place}” is damaged or incomplete: calibrate again."
        ) from None
    if not isinstance(content, dict) or content.get("kind") != KIND:
        raise Refusal(
            f"“{place}” is not a Chalkbeam rig file: name a file that a calibration wrote."
        )
    version = content.get("version")
    if not isinstance(version, int) or version < 1:
        raise Refusal(f"The rig file “{place}” has no valid version: calibrate again.")
    if version > VERSION:
        raise Refusal(
            f"The rig file “{place}” was made by a newer Chalkbeam (file version {version}, "
            f"this program reads up to {VERSION}): update Chalkbeam, or calibrate again."
        )
    try:
        # The number fits the content as it was written, before any step.
        fits = _check_number(content["rig"]) == content["calibration_id"]
        for older in range(version, VERSION):
            content = MIGRATIONS[older](content) | {"version": older + 1}
        check_numbers(content)
        file = _File.model_validate(content)
        _check_possible(file.rig)
    except (ValidationError, LookupError, TypeError, ValueError, ArithmeticError) as error:
        raise Refusal(
            f"The rig file “{place}” is damaged ({_complaint(error)}): calibrate again."
        ) from None
    if not fits:
        raise Refusal(
            f"The rig file “{place}” was changed by hand or damaged (its check number does not "
            "fit its content): calibrate again."
        )
    return file.rig


def _check_possible(rig: Rig) -> None:
    """Raise a ValueError if no press can be as a rig file says."""
    for text in (rig.name, rig.platen):
        check_text(text)
    for each in rig.platens:
        if each.platens or not each.platen:
            raise ValueError("a further platen is none")
        _check_possible(each)
    check_map(rig.face, rig.projector, rig.fit.covariance, rig.fit.freedom)
    if rig.inherited is not None:
        check_matrix([rig.inherited.mean], 1, OF_MAP, "mean before")
        check_matrix(rig.inherited.covariance, OF_MAP, OF_MAP, "covariance before")
        check_covariance(rig.inherited.covariance)
    if rig.eye is not None:
        check_matrix(rig.eye.covariance, len(PARAMETERS), len(PARAMETERS), "camera's covariance")
        check_covariance(rig.eye.covariance)
        check_matrix(rig.eye.by_projector, len(PARAMETERS), OF_MAP, "camera's slope")
    heights = (*rig.stated.heights, *(photo.raised for photo in rig.photos))
    if not all(-100 <= height <= 100 for height in heights):
        raise ValueError("nothing is lit at such heights")


def _complaint(error: Exception) -> str:
    """Say in a few words what a validation found first."""
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        said = first["msg"].lower().replace("unexpected keyword argument", "not known here")
        return f"{place[:60]}: {said}"
    if isinstance(error, ValueError) and str(error):  # what `rig.possible` says
        return str(error).splitlines()[0]
    return "a part of it is missing, or is something else"
