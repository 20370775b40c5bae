"""A file's ink is found once for all the sizes it is printed in."""

import gzip
import os
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image

from calibration.refusal import Refusal
from chalkbeam.artwork import ink_measures, load_artwork


@pytest.fixture
def readings(monkeypatch):
    """The files read as pictures, in order."""
    ink_measures._measured_ink.cache_clear()
    names = []
    reading = ink_measures.read_picture

    def read(path, page=1):
        names.append(path.name)
        return reading(path, page)

    monkeypatch.setattr(ink_measures, "read_picture", read)
    return names


def block(path, width=200, height=100, margin=20):
    rgba = np.zeros((height + 2 * margin, width + 2 * margin, 4), np.uint8)
    rgba[margin:-margin, margin:-margin] = (200, 0, 0, 255)
    rgba[margin : margin + 30, margin : margin + 50, 3] = 0  # not the same all round
    Image.fromarray(rgba).save(path)
    return path


def test_one_reading_serves_every_size(tmp_path, readings):
    path = block(tmp_path / "block.png")
    arts = [load_artwork(path, width=width) for width in (40, 90, 300)]
    assert readings == ["block.png"]
    assert [art.ink.width for art in arts] == pytest.approx([40, 90, 300])
    ink_measures._measured_ink.cache_clear()
    assert load_artwork(path, width=90) == arts[1]  # just as if read for this size alone


def test_an_edited_file_is_read_again_though_its_date_is_the_same(tmp_path, readings):
    path = block(tmp_path / "block.png")
    date = path.stat().st_mtime_ns
    assert load_artwork(path, width=100).ink.height == pytest.approx(50)
    block(path, height=160)
    os.utime(path, ns=(date, date))
    assert load_artwork(path, width=100).ink.height == pytest.approx(80)
    assert len(readings) == 2


def test_a_file_that_is_being_measured_is_waited_for(tmp_path, monkeypatch):
    path, reading = block(tmp_path / "block.png"), ink_measures.read_picture
    begun, go_on, readings = threading.Event(), threading.Event(), []

    def read(*args):
        readings.append(args)
        begun.set()
        assert go_on.wait(60)
        return reading(*args)

    ink_measures._measured_ink.cache_clear()
    monkeypatch.setattr(ink_measures, "read_picture", read)
    with ThreadPoolExecutor(2) as pool:
        ahead = pool.submit(ink_measures.measured_ink, path)
        assert begun.wait(60)
        asked = pool.submit(load_artwork, path, width=100)
        go_on.set()
        assert ahead.result().canvas == (240, 140)
        assert asked.result().ink.height == pytest.approx(50)
    assert len(readings) == 1


@pytest.mark.parametrize("ending", ["svg", "svgz"])
@pytest.mark.parametrize("name", ["href", "xlink:href"])
def test_a_drawing_is_read_again_when_a_picture_it_links_to_is_edited(
    tmp_path, readings, monkeypatch, ending, name
):
    linked = block(tmp_path / "block.png", width=200, height=100)
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="0 0 240 200"><image {name}="block.png"/></svg>'
    ).encode()
    path = tmp_path / f"drawing.{ending}"
    path.write_bytes(gzip.compress(text) if ending == "svgz" else text)
    for _ in range(2):
        assert load_artwork(path, width=100).ink.height == pytest.approx(50, abs=0.2)
    assert len(readings) == 1
    block(linked, height=160)
    for _ in range(2):
        assert load_artwork(path, width=100).ink.height == pytest.approx(80, abs=0.2)
    assert len(readings) == 2
    linked.unlink()
    with pytest.raises(Refusal, match="links to a picture that is not there"):
        load_artwork(path, width=100)


def test_what_tells_ink_from_paper_is_part_of_the_question(tmp_path, readings):
    path = block(tmp_path / "block.png")
    flat = Image.new("RGB", (240, 140), "white")
    flat.paste((200, 0, 0), (20, 20, 220, 120))
    flat.save(tmp_path / "flat.png")
    assert load_artwork(tmp_path / "flat.png", width=100).ink.height == pytest.approx(50)
    whole = load_artwork(tmp_path / "flat.png", width=120, whole=True)
    assert whole.ink.height == pytest.approx(70)
    plain, seen = load_artwork(path, width=100), load_artwork(path, width=100, mirrored=True)
    assert seen.centroid[0] == pytest.approx(-plain.centroid[0])
    assert len(readings) == 4


def test_a_file_that_is_gone_is_refused_though_it_was_read_before(tmp_path):
    path = block(tmp_path / "block.png")
    load_artwork(path, width=100)
    path.unlink()
    with pytest.raises(Refusal, match="no artwork file"):
        load_artwork(path, width=100)
