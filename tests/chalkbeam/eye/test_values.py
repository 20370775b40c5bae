"""What is read as JSON has millimetres and degrees, and null where nothing was seen."""

from __future__ import annotations

import json
import math

import numpy as np

from chalkbeam.eye.values import (
    ColourSeen,
    GarmentSeen,
    HeightSeen,
    Reading,
    RigSeen,
    SizeSeen,
    TransferSeen,
)

GARMENT = GarmentSeen(True, True, (1.0, 200.0), math.radians(1.5), (8.9, -100.0), "front", "")
RIG = RigSeen(0.12, "unchanged")


def reading(**changes: object) -> Reading:
    parts: dict[str, object] = {
        "garment": GARMENT,
        "size": SizeSeen(510.0, True),
        "height": HeightSeen((-200.0, -250.0), 5.0, np.array([[1.234, np.nan]])),
        "colour": ColourSeen("#1b2a44", (17.0, 1.0, -18.0), "the bare platen"),
        "transfer": None,
        "rig": RIG,
    }
    return Reading(**(parts | changes))  # type: ignore[arg-type] # what a case changes


def test_plain_is_json_with_degrees_and_null() -> None:
    plain = json.loads(json.dumps(reading().plain(), allow_nan=False))
    assert plain["garment"]["centre_line_deg"] == 1.5
    assert plain["garment"]["neck_mm"] == [1.0, 200.0]
    assert plain["height"] == {"origin_mm": [-200.0, -250.0], "step_mm": 5.0, "mm": [[1.23, None]]}
    assert plain["transfer"] is None


def test_good_only_if_all_that_was_asked_for_is() -> None:
    laid = TransferSeen(True, True, (0.3, -0.2), 0.001, "good", "")
    off = TransferSeen(True, True, (4.0, 0.0), 0.0, "move", "")
    doubtful = TransferSeen(True, False, (0.0, 0.0), 0.0, "good", "")
    assert reading().good
    assert reading(transfer=laid).good
    assert not reading(transfer=off).good
    assert not reading(transfer=doubtful).good
    assert not reading(garment=GarmentSeen(True, False)).good
    assert not reading(rig=RigSeen(2.0, "moved")).good
