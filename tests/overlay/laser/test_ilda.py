"""Frames read back by the layout that ILDA publishes (IDTF revision 011, 2014), written anew here.

A reader of a package registry (npm: @laser-dac/ilda-reader 0.3.3) gave the same points and colours
for files of this program; it ignores the status byte and is off by one below zero.
"""

import struct

import numpy as np
import pytest

from overlay.laser.ilda import ilda_bytes
from overlay.laser.paths import BeamPath

PATH = BeamPath(
    np.array([[0.0, 0.0], [1.0, -1.0], [-0.5, 0.25], [0.1, 0.1]]),
    np.array([False, True, True, False]),
)


def read(data):
    """Return sections as (header, records); a record is x, y, z or None, status, r, g, b."""
    sections, at = [], 0
    while at < len(data):
        assert data[at : at + 7] == b"ILDA\0\0\0"
        form, name, company = data[at + 7], data[at + 8 : at + 16], data[at + 16 : at + 24]
        count, number, total = struct.unpack(">HHH", data[at + 24 : at + 30])
        assert data[at + 31] == 0
        at += 32
        records = []
        for _ in range(count):
            if form == 4:
                x, y, z, status, b, g, r = struct.unpack(">hhhBBBB", data[at : at + 10])
                at += 10
            else:
                assert form == 5
                x, y, status, b, g, r = struct.unpack(">hhBBBB", data[at : at + 8])
                z, at = None, at + 8
            records.append((x, y, z, status, r, g, b))
        head = (form, name.rstrip(b"\0").decode(), company.rstrip(b"\0").decode(), number, total)
        sections.append((head, records))
    return sections


@pytest.mark.parametrize(("form", "depth"), [(5, None), (4, 0)])
def test_coordinates_blanking_and_colours_are_where_the_format_has_them(form, depth):
    data = ilda_bytes([("load", PATH)], (200, 100, 50), form)
    (head, records), (end, nothing) = read(data)
    assert head == (form, "load", "Chalkbm", 0, 1)
    assert (end[0], nothing) == (form, [])
    assert records == [
        (0, 0, depth, 0x40, 0, 0, 0),
        (32767, -32767, depth, 0, 200, 100, 50),
        (-16384, 8192, depth, 0, 200, 100, 50),
        (3277, 3277, depth, 0xC0, 0, 0, 0),  # the last point, dark
    ]


def test_frames_count_up_and_names_are_eight_letters():
    data = ilda_bytes([("load", PATH), ("sheet edges", PATH)])
    heads = [head for head, _ in read(data)]
    assert [(name, number, total) for _, name, _, number, total in heads] == [
        ("load", 0, 2), ("sheet ed", 1, 2), ("", 0, 2),
    ]  # fmt: skip


def test_no_frame_beyond_full_scale():
    with pytest.raises(ValueError, match="within full scale"):
        ilda_bytes([("x", BeamPath(np.array([[1.2, 0.0]]), np.array([True])))])
