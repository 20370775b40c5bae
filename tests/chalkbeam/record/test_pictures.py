"""Pictures of what was pressed: small, within a limit, never in the way."""

import cv2
import numpy as np

from chalkbeam.record.pictures import LARGEST, WIDEST, PictureFolder


def noise(size=(1080, 1920)):
    return np.random.default_rng(1).integers(0, 256, (*size, 3), dtype=np.uint8)


def test_a_picture_is_kept_small_beside_the_record(tmp_path):
    folder = PictureFolder.of(tmp_path / "shop.db")
    name = folder.keep("a1b2/4-1/1 back", noise())
    kept = tmp_path / "shop-pictures" / name
    assert "/" not in name
    assert kept.stat().st_size <= LARGEST
    assert cv2.imread(str(kept)).shape[1] == WIDEST


def test_the_oldest_go_when_there_are_too_many(tmp_path):
    folder = PictureFolder(tmp_path / "p", limit=2 * LARGEST)
    names = [folder.keep(f"piece-{k}", noise()) for k in range(6)]
    left = {path.name for path in (tmp_path / "p").iterdir()}
    assert names[-1] in left
    assert names[0] not in left


def test_what_cannot_be_written_is_left_out_without_a_word(tmp_path):
    (tmp_path / "p").write_text("a file where the folder should be")
    assert PictureFolder(tmp_path / "p").keep("piece", noise((20, 30))) == ""
