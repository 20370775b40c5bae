"""Imprints made ready: which rig lights them, and how the garment lies."""

import os
from dataclasses import replace

import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.placement.loading import looks_of
from chalkbeam.placement.platens import platen
from chalkbeam.placement.shift import Shift
from chalkbeam.station import laying
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.laying import called
from chalkbeam.station.ready_imprint import ImprintPreparer
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
    load = laying.load
    monkeypatch.setattr(laying, "load", lambda *of, **how: laid.append(of) or load(*of, **how))
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


def sizes_of(tmp_path, style, sizes, **imprint):
    """The same print on a garment's sizes, and how a preparer that knows of all lays each."""
    piece = crew(tmp_path)[0]
    pieces = [
        replace(piece, id=f"{row}-1", style=style, size=size,
                imprints=(replace(piece.imprints[0], id=f"{row}-1/1", **imprint),))
        for row, size in enumerate(sizes, 2)
    ]  # fmt: skip
    alone = ImprintPreparer([make_rig()])
    run = ImprintPreparer([make_rig()])
    run.expect((each, each.imprints[0]) for each in pieces)
    return [
        [each.prepare(piece, piece.imprints[0], lambda i: i.location).planned for piece in pieces]
        for each in (alone, run)
    ]


def test_all_sizes_of_a_run_are_laid_alike_where_that_is_as_good(tmp_path):
    alone, run = sizes_of(tmp_path, "crew_tee", ("S", "M", "L", "2XL"), location="full-back")
    assert len({round(each.overhang) for each in alone}) > 1
    assert {(round(each.overhang, 1), each.aside) for each in run} == {(12.7, 0.0)}
    assert [looks_of(each) for each in run] == [looks_of(each) for each in alone]


def test_one_place_of_the_pad_serves_all_sizes_of_a_polo(tmp_path):
    alone, run = sizes_of(
        tmp_path, "placket_shirt", ("S", "M", "L"), location="left-chest", pad="6x6x0.5in"
    )
    assert len({each.platen.pad.centre for each in alone}) > 1
    assert len({each.platen.pad.centre for each in run}) == 1
    assert [looks_of(each) for each in run] == [looks_of(each) for each in alone]


def test_a_size_that_would_be_pressed_worse_keeps_a_loading_of_its_own(tmp_path):
    alone, run = sizes_of(tmp_path, "tote", ("small", "standard", "large"), location="tote")
    for own, laid in zip(alone, run, strict=True):
        assert looks_of(laid) <= looks_of(own)
        assert laid.concerns == own.concerns or len(laid.concerns) <= len(own.concerns)


def test_sleeves_legs_and_infants_go_to_the_platen_that_goes_into_them(tmp_path):
    rigs = [
        replace(make_rig(face=platen(name).face), platen=name)
        for name in ("16x20in", "sleeve-5x18in", "11x15in", "youth-9x12in")
    ]
    preparer = ImprintPreparer(rigs)
    piece = crew(tmp_path)[0]

    def platen_of(style, size, location, width=60.0, **imprint):
        made = replace(piece.imprints[0], location=location, width=width, **imprint)
        worn = replace(piece, style=style, size=size, imprints=(made,))
        return preparer.platen_for(worn, made, lambda i: i.location)

    assert platen_of("crew_tee", "L", "left-chest") == "16x20in"
    assert platen_of("crew_tee", "M", "left-sleeve") == "sleeve-5x18in"
    assert platen_of("long_sleeve", "L", "left-sleeve-long") == "sleeve-5x18in"
    assert platen_of("long_sleeve", "M", "left-cuff") == "sleeve-5x18in"  # too narrow for any
    assert platen_of("trousers", "M", "left-leg") in ("sleeve-5x18in", "youth-9x12in")
    assert platen_of("crew_tee", "12M", "centre-chest") == "youth-9x12in"
    assert platen_of("crew_tee", "3T", "full-front") == "11x15in"
    assert platen_of("crew_tee", "M", "left-sleeve", platen="16x20in") == "16x20in"  # as told


def test_a_look_names_the_platen_of_the_press_that_spares_it(tmp_path):
    rigs = [
        replace(make_rig(face=platen(name).face), platen=name) for name in ("16x20in", "11x15in")
    ]
    piece = crew(tmp_path)[0]
    made = replace(piece.imprints[0], location="left-chest", width=89.0, platen="16x20in")
    worn = replace(piece, style="zip_hood", size="L", imprints=(made,))
    told = ImprintPreparer(rigs).prepare(worn, made, lambda i: i.location).planned.concerns
    words = " ".join(str(each.sentence) for each in told)
    assert "Or press it on 11x15in: nothing is under the head there." in words
    large = replace(made, location="full-front", width=330.0, platen="11x15in")
    with pytest.raises(Refusal, match="use 16x20in"):
        ImprintPreparer(rigs).prepare(
            replace(worn, style="crew_tee", size="2XL"), large, lambda i: i.location
        )
