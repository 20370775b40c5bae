"""Imprints made ready: which rig lights them, and how the garment lies."""

import os
from dataclasses import replace

import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.placement.shift import Shift
from chalkbeam.station import ready_imprint
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer, called
from tests.support.crew_order import crew, open_run
from tests.support.rigs import make_rig


def test_a_garment_that_stays_is_loaded_for_all_its_imprints(tmp_path):
    """On a platen where either would be laid otherwise if it were alone."""
    rig = make_rig(face=PlatenFace(406, 350, 15))
    piece = crew(tmp_path)[2]
    preparer = ImprintPreparer([rig])

    def lying(*together):
        found = preparer.prepare(piece, together[0], lambda i: i.location, together=together)
        return found.planned.platen_from_garment

    name, number = piece.imprints
    assert lying(name) != lying(number)
    assert lying(name, number) == lying(number, name)


def test_each_platen_has_its_rig(tmp_path):
    small = make_rig(name="sleeve press", face=PlatenFace(250, 300, 10))
    large = make_rig()
    assert called(large) == "16x20in"
    assert called(small) == "youth-10x12in"
    piece = crew(tmp_path)[0]
    preparer = ImprintPreparer([large, small])
    for named, rig in (("16x20in", large), ("250mm x 300mm", small)):
        imprint = replace(piece.imprints[0], platen=named)
        assert preparer.prepare(piece, imprint, lambda i: i.location).rig is rig
    wanted = replace(piece.imprints[0], platen="cap-6.5x3.5in")
    with pytest.raises(Refusal, match=r"wants platen cap-6.5x3.5in .*add its rig, or skip"):
        preparer.prepare(piece, wanted, lambda i: i.location)
    with pytest.raises(Refusal, match="pictures of different sizes"):
        ImprintPreparer([large, make_rig(size=(800, 600))])


def test_a_pad_raises_the_light(tmp_path):
    piece = crew(tmp_path)[0]
    preparer = ImprintPreparer([make_rig()])
    flat = preparer.prepare(piece, piece.imprints[0], lambda i: i.location)
    padded = preparer.prepare(
        piece, replace(piece.imprints[0], pad="10x10x0.5in"), lambda i: i.location
    )
    assert padded.choice.loading.height - flat.choice.loading.height == pytest.approx(12.7)


def test_what_is_alike_is_loaded_once_whichever_object_it_is(tmp_path, monkeypatch):
    laid = []
    load = ready_imprint.load
    monkeypatch.setattr(
        ready_imprint, "load", lambda *of, **how: laid.append(of) or load(*of, **how)
    )
    preparer = ImprintPreparer([make_rig()])
    piece = crew(tmp_path)[0]
    copies = [replace(piece, id=f"2-{n}", imprints=(replace(piece.imprints[0], id=f"2-{n}/1"),))
              for n in (1, 2)]  # fmt: skip
    for each in (*copies, crew(tmp_path)[0]):
        preparer.prepare(each, each.imprints[0], lambda i: i.location)
    assert len(laid) == 1
    os.utime(piece.imprints[0].art.path, ns=(1, 1))  # the artwork was edited
    preparer.prepare(piece, piece.imprints[0], lambda i: i.location)
    assert len(laid) == 2


def test_equal_imprints_are_equal_when_ready_and_light_up_as_the_very_same_frame(tmp_path):
    """Of two preparers with two rigs read from one file: nothing goes by which object it is."""
    piece = crew(tmp_path)[0]
    one, other = (
        ImprintPreparer([make_rig()]).prepare(piece, piece.imprints[0], lambda i: i.location)
        for _ in range(2)
    )
    assert one is not other
    assert one.rig is not other.rig
    assert (one, hash(one)) == (other, hash(other))
    moved = ImprintPreparer([make_rig()]).prepare(
        piece, piece.imprints[0], lambda i: i.location, Shift(1.0, 0.0)
    )
    assert moved != one

    scene = open_run(tmp_path).scene()
    assert scene.ready == one
    again = replace(scene, ready=other, projector=other.rig.projector, face=other.rig.face)
    frames = FrameCache()
    assert frames.frame(again) is frames.frame(scene)
    assert frames.frame(replace(scene, ready=moved)) is not frames.frame(scene)
