"""Rigs by name: which one is meant, and what is said when none is."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.file import Rig, save
from calibration.solve.values import MapFit, frozen_matrix

RIG = Rig(
    "Slipway press",
    PlatenFace(406.4, 508.0),
    ProjectorMap((1920, 1080), Pinhole(2400.0, 959.5, 1100.0, rx=2.6, tz=1100.0)),
    MapFit("pinhole", "the solved pose", frozen_matrix(np.zeros((20, 20))), 0.1, 7),
)


def test_an_empty_shelf_says_how_to_fill_it() -> None:
    assert library.names() == ()
    assert library.default() is None
    with pytest.raises(Refusal, match="no rig yet: make one, or name a file"):
        library.open_rig(None)


def test_the_only_rig_is_the_default() -> None:
    path = library.keep(RIG)
    assert path.parent == library.folder()
    assert library.open_rig(None) == library.open_rig("Slipway press") == RIG


def test_of_several_the_chosen_one_is_the_default() -> None:
    library.keep(RIG)
    library.keep(replace(RIG, name="boathouse sleeves"))
    assert library.names() == ("boathouse sleeves", "Slipway press")
    with pytest.raises(Refusal, match="Several rigs are known"):
        library.open_rig(None)
    library.set_default("boathouse sleeves")
    assert library.open_rig(None).name == "boathouse sleeves"
    with pytest.raises(Refusal, match="no rig named “attic”: known are boathouse sleeves"):
        library.set_default("attic")


def test_a_rig_that_cannot_be_read_is_no_default() -> None:
    library.keep(RIG).write_text("{")
    with pytest.raises(Refusal, match="damaged"):
        library.set_default(RIG.name)


def test_a_default_that_is_gone_is_no_default() -> None:
    library.keep(RIG)
    library.keep(replace(RIG, name="other"))
    library.keep(replace(RIG, name="third"))
    library.set_default("other")
    library.place("other").unlink()
    assert library.default() is None


def test_paths_come_before_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    save(replace(RIG, name="in a file"), tmp_path / "rig.json")
    library.keep(replace(RIG, name="rig"))
    assert library.open_rig("rig.json").name == "in a file"
    assert library.open_rig(str(tmp_path / "rig.json")).name == "in a file"
    assert library.open_rig("rig").name == "rig"
    with pytest.raises(Refusal, match="no rig file or rig named “attic”"):
        library.open_rig("attic")


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "a\\b", "x" * 80, "nul\0", "end "])
def test_names_that_are_no_file_names(name: str) -> None:
    with pytest.raises(Refusal, match="cannot name a rig"):
        library.place(name)


@pytest.mark.parametrize("name", ["CON", "nul", "com1", "Lpt9.old"])
def test_names_that_are_devices_on_windows(name: str) -> None:
    with pytest.raises(Refusal, match="a device is called so"):
        library.place(name)


def test_capitals_make_no_other_rig() -> None:
    """As on the systems whose files know no capitals: a rig is never lost to its twin there."""
    path = library.keep(replace(RIG, name="Presse Köln"))
    assert library.place("PRESSE KÖLN") == path
    assert library.place(unicodedata.normalize("NFD", "presse köln")) == path
    assert library.open_rig("presse köln").name == "Presse Köln"
    library.set_default("presse KÖLN")
    assert library.default() == "Presse Köln"
    copy = library.set_aside("presse köln")
    assert copy is not None
    assert copy.name.startswith("Presse Köln ")
    library.keep(replace(RIG, name="presse köln", made_at="2026-05-01T08:00:00+00:00"))
    assert library.names() == ("Presse Köln",)


def test_a_rig_whose_name_is_taken_again_is_kept() -> None:
    assert library.set_aside(RIG.name) is None
    path = library.keep(RIG)
    copy = library.set_aside(RIG.name)
    assert copy is not None
    assert copy.read_text() == path.read_text()
    assert library.names() == (RIG.name,)
    assert library.open_rig(str(copy)).calibration_id == RIG.calibration_id
    path.write_bytes(b"\xff\x00")  # not even a damaged one is lost
    library.set_aside(RIG.name)


def test_a_rig_gets_another_name_and_stays_the_default() -> None:
    library.keep(RIG)
    library.keep(replace(RIG, name="other"))
    library.set_default("Slipway press")
    library.rename("slipway press", "Boathouse")
    assert library.names() == ("Boathouse", "other")
    assert library.open_rig(None) == replace(RIG, name="Boathouse")
    library.rename("Boathouse", "boathouse")  # capitals alone
    assert library.open_rig(None).name == "boathouse"
    assert library.names() == ("boathouse", "other")


def test_a_name_that_another_rig_bears_is_refused() -> None:
    library.keep(RIG)
    library.keep(replace(RIG, name="other"))
    for old, new in (("other", "SLIPWAY press"), ("third", "fourth"), ("other", "a/b")):
        with pytest.raises(Refusal):
            library.rename(old, new)
    assert library.names() == ("other", "Slipway press")
