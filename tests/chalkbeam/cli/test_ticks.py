"""`chalkbeam ticks` and `chalkbeam run` with line lasers."""

import json

import pytest

from chalkbeam.record.store import Store
from tests.support.crew_order import write_pennant
from tests.support.keys import type_keys
from tests.support.run_cli import run_program
from tests.support.run_command import PLAIN, STEPS, WAY_OUT


@pytest.fixture
def order(tmp_path, monkeypatch):
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "crew.csv").write_text(PLAIN)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_order_is_aimed_in_its_order_of_work(order, capsys, monkeypatch):
    code, out, _ = run_program(
        capsys, monkeypatch, "ticks", "crew.csv", "--platen", "16x20in", "--json"
    )
    told = json.loads(out)
    assert code == 0
    aimed = [stop["aim_first"] for stop in told["stops"]]
    assert aimed[:2] == [["A", "B"], []]  # two shirts alike
    assert "A" in aimed[2]  # the back's centre line
    assert told["aims_again"] == sum(map(len, aimed[1:]))


def test_what_a_shop_does_not_know_is_told(order, capsys, monkeypatch):
    code, out, err = run_program(capsys, monkeypatch, "ticks", "crew.csv", "--platen", "16x20in")
    assert code == 0
    assert "Tilt of A, B unknown" in out
    assert "class 2" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("crew.csv",), "Name the platen"),
        (("--platen", "16x20in"), "Name an order"),
        (("--platen", "16x20in", "--style", "crew-tee"), "Name --sizes"),
        (("crew.csv", "--platen", "16x20in", "--lasers", "none.toml"), "no file “none.toml”"),
        (("crew.csv", "--platen", "16x20in", "--share", "2 cm"), "give 0 mm to 10 mm"),
        (("crew.csv", "--platen", "2x2in"), "Nothing of it can be laid"),
    ],
)
def test_what_cannot_be_is_refused(order, capsys, monkeypatch, words, said):
    code, _, err = run_program(capsys, monkeypatch, "ticks", *words)
    assert code == 2
    assert said in err
    assert not (order / "ticks.pdf").exists()


RUN = ("run", "crew.csv", "--record", "record.db", "--no-page", "--ticks", "two lines")


@pytest.mark.slow
def test_a_run_goes_by_ticks_and_names_its_sheet(order, capsys, monkeypatch):
    monkeypatch.setattr("chalkbeam.station.state.BOUNCE", 0.0)
    type_keys(monkeypatch, [*STEPS, *WAY_OUT])
    code, out, err = run_program(capsys, monkeypatch, *RUN, "--platen", "16x20in")
    assert code == 0, err
    assert "1 of 3 imprints pressed" in out
    _, told, _ = run_program(
        capsys, monkeypatch, "ticks", "crew.csv", "--platen", "16x20in", "--json"
    )
    assert f"tick sheet {json.loads(told)['sheet']}" in err
    assert "Line lasers: only units" in err
    assert "projector" not in err
    with Store(order / "record.db") as store:
        assert len(store.runs()) == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "Name the platen"),
        (("--platen", "16x20in", "--rig", "rig.json"), "--rig goes with a projector"),
        (("--platen", "16x20in", "--eye", "0"), "--eye goes with a projector"),
    ],
)
def test_a_projector_and_lasers_do_not_go_together(order, capsys, monkeypatch, more, said):
    code, _, err = run_program(capsys, monkeypatch, *RUN, *more)
    assert code == 2
    assert said in err
