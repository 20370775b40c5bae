"""The rig file: what goes in comes out, and anything else is refused in one sentence."""

from __future__ import annotations

import dataclasses
import json
import os
import pickle
from pathlib import Path

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.model.eye import Eye
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import worst
from calibration.observations import Corner, PhotoObservation
from calibration.refusal import Refusal
from calibration.rig import file
from calibration.rig.by_hand import solve_again
from calibration.rig.drift import DriftVerdict, check_photos
from calibration.rig.file import Rig, load, save
from calibration.solve.values import CardFit, CardPlan, Cross, MapFit, Stated, frozen_matrix

DATA = Path(__file__).parents[2] / "data"

RIG = Rig(
    name="Boathouse press",
    face=PlatenFace(406.4, 508.0, 12.0),
    projector=ProjectorMap((1920, 1080), Pinhole(2400.0, 959.5, 1100.0, rx=2.6, tz=1100.0)),
    fit=MapFit(
        model="pinhole",
        height_from="the solved pose",
        covariance=frozen_matrix(np.eye(20) / 3),
        noise=0.1,
        freedom=400,
        cards=(CardFit("front-left", 0.0, (0.1, -0.2), 0.001, 0.02, 9),),
        notes=("One photo.",),
    ),
    stated=Stated(bar=99.7, lens=(0.0, 600.0, 1000.0)),
    photos=(
        PhotoObservation(
            "bench.jpg",
            (4032, 3024),
            "phone",
            None,
            0.0,
            (Corner("front-left", 0, (1 / 3, 7.0)),),
            (Corner("pattern", 4, (2.5, 1e-17)),),
        ),
    ),
    crosses=(Cross((1.0, 2.0), (3.0, 4.0)),),
    plans=(CardPlan("front-left", (-150.0, -200.0), (-203.0, -254.0), ((1.0, 2.0), (3.0, 4.0))),),
    made_at="2026-05-30T09:00:00+01:00",
)


EYE = Eye(
    camera=Pinhole(1400.0, 959.5, 539.5, k1=-0.08, rx=2.4, tz=1200.0),
    size=(1920, 1080),
    covariance=frozen_matrix(np.eye(15) / 7),
    by_projector=frozen_matrix(np.ones((15, 20)) / 9),
    noise=0.12,
    freedom=380,
    points=198,
    fixed_by=("one picture of the bare platen",),
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "rig.json"


def _rewrite(path: Path, **changes: object) -> None:
    path.write_text(json.dumps(json.loads(path.read_text()) | changes))


def test_there_and_back(path: Path) -> None:
    save(RIG, path)
    assert load(path) == RIG
    assert [entry.name for entry in path.parent.iterdir()] == ["rig.json"]


def test_an_eye_goes_with_its_rig(path: Path) -> None:
    rig = dataclasses.replace(RIG, eye=EYE)
    save(rig, path)
    assert load(path) == rig
    assert rig.calibration_id != RIG.calibration_id
    np.testing.assert_array_equal(rig.eye.projector_slope, np.ones((15, 20)) / 9)


def test_a_rig_of_version_3_has_no_eye_and_lights_the_same(path: Path) -> None:
    """The file was written by version 3 of the format, from the sample photos."""
    written = json.loads((DATA / "demo-rig.json").read_text())
    assert written["version"] == 3
    rig = load(DATA / "demo-rig.json")
    assert rig.eye is None
    assert list(rig.projector.pinhole.vector) == list(
        written["rig"]["projector"]["pinhole"].values()
    )
    save(rig, path)
    assert load(path) == rig


def test_the_id_follows_the_calibration_and_not_the_name() -> None:
    assert dataclasses.replace(RIG, name="other").calibration_id == RIG.calibration_id
    moved = dataclasses.replace(RIG.projector.pinhole, tx=0.001)
    changed = dataclasses.replace(RIG, projector=ProjectorMap((1920, 1080), moved))
    assert changed.calibration_id != RIG.calibration_id


def test_the_id_is_worked_out_once_for_a_rig(monkeypatch: pytest.MonkeyPatch) -> None:
    worked_out = []
    work_out = file._check_number
    monkeypatch.setattr(file, "_check_number", lambda rig: worked_out.append(rig) or work_out(rig))
    rig = dataclasses.replace(RIG, name="another")
    assert rig.calibration_id == rig.calibration_id
    assert rig.calibration_id == pickle.loads(pickle.dumps(rig)).calibration_id
    assert len(worked_out) == 1
    assert rig == dataclasses.replace(RIG, name="another")  # what was worked out is no part of it
    dataclasses.replace(rig, crosses=()).calibration_id  # noqa: B018
    assert len(worked_out) == 2


def test_missing(path: Path) -> None:
    with pytest.raises(Refusal, match=r"no rig file at .*: make one\."):
        load(path)


@pytest.mark.parametrize("text", ["", "{", "\x00\x01", '{"kind": "chalkbeam rig", "version": 1'])
def test_cut_short(path: Path, text: str) -> None:
    path.write_text(text)
    with pytest.raises(Refusal, match=r"rig\.json” is damaged or incomplete: calibrate again\."):
        load(path)


def test_not_text(path: Path) -> None:
    path.write_bytes(b"\xff\xfe\x00\xd8")
    with pytest.raises(Refusal, match=r"rig\.json” is damaged or incomplete: calibrate again\."):
        load(path)


def test_a_folder(path: Path) -> None:
    path.mkdir()
    with pytest.raises(Refusal, match=r"cannot be read \(Is a directory\): check its place"):
        load(path)


@pytest.mark.parametrize("text", ["[]", "3", "{}", '{"kind": "receipt", "version": 1}'])
def test_something_else(path: Path, text: str) -> None:
    path.write_text(text)
    with pytest.raises(Refusal, match="not a Chalkbeam rig file"):
        load(path)


@pytest.mark.parametrize("version", [None, "1", 0, 1.5])
def test_no_version(path: Path, version: object) -> None:
    save(RIG, path)
    _rewrite(path, version=version)
    with pytest.raises(Refusal, match="no valid version"):
        load(path)


def test_newer(path: Path) -> None:
    save(RIG, path)
    _rewrite(path, version=file.VERSION + 1)
    with pytest.raises(Refusal, match="newer Chalkbeam"):
        load(path)


def test_field_of_the_wrong_kind_is_named(path: Path) -> None:
    save(RIG, path)
    content = json.loads(path.read_text())
    content["rig"]["face"]["width"] = "wide"
    path.write_text(json.dumps(content))
    with pytest.raises(Refusal, match=r"damaged \(rig.face.width"):
        load(path)


def test_an_older_file_without_a_part_is_damaged_in_plain_words(path: Path) -> None:
    content = json.loads((DATA / "rig-version-1.json").read_text())
    content["rig"]["fit"] = None
    path.write_text(json.dumps(content))
    with pytest.raises(Refusal, match=r"damaged \(a part of it is missing, or is something else"):
        load(path)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999"])
def test_numbers_that_are_none(path: Path, number: str) -> None:
    save(RIG, path)
    path.write_text(path.read_text().replace("2400.0", number))
    with pytest.raises(Refusal, match="damaged"):
        load(path)


def test_a_changed_digit_is_noticed(path: Path) -> None:
    save(RIG, path)
    path.write_text(path.read_text().replace("2400.0", "2401.0"))
    with pytest.raises(Refusal, match="check number"):
        load(path)


def test_older_versions_are_brought_up_to_date(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save(RIG, path)
    content = json.loads(path.read_text())
    content["label"] = content["rig"].pop("name")
    path.write_text(json.dumps(content))

    def step(old: dict[str, object]) -> dict[str, object]:
        rig = dict(old["rig"]) | {"name": old["label"]}  # type: ignore[call-overload] # free JSON
        return {k: v for k, v in old.items() if k != "label"} | {"rig": rig}

    older = file.VERSION
    monkeypatch.setattr(file, "VERSION", older + 1)
    monkeypatch.setitem(file.MIGRATIONS, older, step)
    assert load(path) == RIG


def test_a_rig_of_version_1_still_lights_the_same_and_keeps_its_observations() -> None:
    """The file and the pixels were written by version 1 of the format, for a repaired rig."""
    rig = load(DATA / "rig-version-1.json")
    points = [(0, 0), (150, 200), (-150, -200)]
    bare = [[899.0744788, 492.7006179], [1247.9576743, 71.2274685], [607.5950555, 844.7970626]]
    high = [[895.2674474, 512.9588398], [1249.6437197, 86.4209811], [600.0117934, 868.3109511]]
    np.testing.assert_allclose(rig.projector.projector_from_platen(points), bare, atol=1e-6)
    np.testing.assert_allclose(rig.projector.projector_from_platen(points, 20), high, atol=1e-6)
    found = worst(rig.projector, rig.fit.matrix, rig.fit.freedom, rig.face, (0.0, 20.0))
    assert [each.bound for each in found] == pytest.approx([0.8962607, 1.0670271], rel=1e-6)
    again = solve_again(rig).map
    far = again.platen_from_projector(rig.projector.projector_from_platen(points)) - points
    assert np.hypot(*far.T).max() < 0.1
    assert check_photos(rig, rig.photos).verdict is DriftVerdict.UNCHANGED
    assert "calibrate again" in rig.fit.notes[-1]  # its bounds know of no keystone


def test_a_changed_file_of_version_1_is_refused(path: Path) -> None:
    content = json.loads((DATA / "rig-version-1.json").read_text())
    content["rig"]["projector"]["pinhole"]["tx"] += 50.0
    path.write_text(json.dumps(content))
    with pytest.raises(Refusal, match="check number"):
        load(path)


def test_a_failed_write_leaves_the_old_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save(RIG, path)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Refusal, match="No space left"):
        save(dataclasses.replace(RIG, name="new"), path)
    monkeypatch.undo()
    assert load(path) == RIG
    assert [entry.name for entry in path.parent.iterdir()] == ["rig.json"]


def test_nowhere_to_write(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, no folder")
    with pytest.raises(Refusal, match="cannot be written"):
        save(RIG, tmp_path / "taken" / "rig.json")
