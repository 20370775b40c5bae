import os

import pytest

from calibration.files import below, read_whole
from calibration.refusal import Refusal


def test_a_file_is_read_up_to_a_size(tmp_path):
    path = tmp_path / "some.toml"
    path.write_bytes(b"x" * 100)
    assert read_whole(path, 100) == b"x" * 100
    with pytest.raises(Refusal, match=r"some\.toml is larger than"):
        read_whole(path, 99)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without pipes that have names")
def test_pipes_and_devices_are_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path / "pipe", "/dev/zero"):
        with pytest.raises(Refusal, match="a device or a pipe"):
            read_whole(place)


def test_what_is_not_there_is_told_as_the_system_does(tmp_path):
    (tmp_path / "round").symlink_to(tmp_path / "round")
    for place, error in (
        (tmp_path / "none", FileNotFoundError),
        (tmp_path / "no\0ne", FileNotFoundError),
        (tmp_path, IsADirectoryError),
        (tmp_path / "round", OSError),
    ):
        with pytest.raises(error):
            read_whole(place)


@pytest.mark.parametrize("name", ["../a.png", "sub/../../a.png", "/etc/passwd", "a\0b", ".."])
def test_names_that_leave_the_folder(tmp_path, name):
    assert below(tmp_path, name) is None


def test_names_within_the_folder(tmp_path):
    assert below(tmp_path, "a.png") == tmp_path / "a.png"
    assert below(tmp_path, "./sub/../sub/a.png") == tmp_path / "sub" / "a.png"
    assert below(tmp_path, "..a.png") == tmp_path / "..a.png"
