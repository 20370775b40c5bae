"""`chalkbeam garment`: tables, JSON, drawings, imports, refusals."""

import json

import pytest

from chalkbeam.cli.app import main


@pytest.fixture
def chalkbeam(monkeypatch, capsys):
    def run(*words):
        monkeypatch.setattr("sys.argv", ["chalkbeam", *map(str, words)])
        code = 0
        try:
            main()
        except SystemExit as stop:
            code = stop.code or 0
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_list(chalkbeam):
    code, out, _ = chalkbeam("garment", "list", "--json")
    assert code == 0
    assert "5XL" in json.loads(out)["crew_tee"]["womens"]
    assert "zip_hood" in chalkbeam("garment", "list")[1]


def test_show_speaks_the_units_asked_for(chalkbeam):
    inches = chalkbeam("garment", "show", "--style", "tee", "--size", "M")[1]
    millimetres = chalkbeam("garment", "show", "--style", "tee", "--size", "M", "--units", "mm")[1]
    assert "20 in" in inches
    assert "6 1/2 in" in inches
    assert "508 mm" in millimetres
    assert "165 mm" in millimetres


def test_show_says_what_the_figures_rest_on(chalkbeam):
    words = ("garment", "show", "--style", "tee", "--size", "18M")
    said = " ".join(chalkbeam(*words)[1].split())
    assert "17 measures, 15 of them graded; 17 are assumed, from memory or common practice" in said
    taped = " ".join(chalkbeam(*words, "--measured", "half_chest=275mm")[1].split())
    assert "16 are assumed" in taped
    assert "measured on the piece" in taped
    # a line that a rule derives is starred
    assert "pit line 3 1/8 in*" in said
    assert "neck seam 0 in " in said
    shown = json.loads(chalkbeam(*words, "--measured", "half_chest=275mm", "--json")[1])
    assert shown["measures"]["pit_depth"]["assumed"] is True
    assert shown["measures"]["half_chest"]["assumed"] is False


def test_show_json_is_in_millimetres_and_measured_lengths_count(chalkbeam):
    words = ("garment", "show", "--style", "tee", "--size", "M", "--json")
    shown = json.loads(chalkbeam(*words, "--measured", "half_chest=21in")[1])
    assert shown["measures"]["half_chest"]["mm"] == pytest.approx(21 * 25.4)
    assert shown["faces"]["front"]["along"]["neck_seam"]["mm"] == 0
    assert len(shown["faces"]["front"]["outline_mm"][0]) == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("show", "--style", "kilt", "--size", "M"), "crew tee"),
        (("show", "--style", "tee", "--size", "9XL"), "5XL"),
        (("show", "--style", "tote", "--size", "small", "--fit", "womens"), "regular"),
        (("show", "--style", "tee", "--size", "M", "--fit", "snug"), "womens"),
        (
            ("show", "--style", "tee", "--size", "M", "--measured", "half_chest"),
            "half_chest=20.5in",
        ),
        (("show", "--style", "tee", "--size", "M", "--measured", "half_chest=21"), "no unit"),
        (("draw", "--style", "tee", "--size", "M", "--out", "tee.gif"), ".png"),
        (("import", "missing.csv", "--style", "tee"), "missing.csv"),
    ],
)
def test_bad_input_is_one_sentence_and_code_2(chalkbeam, words, says):
    code, _, err = chalkbeam("garment", *words)
    assert code == 2
    assert says in err
    assert err.count("\n") == 1


def test_draw(chalkbeam, tmp_path):
    out = tmp_path / "deep" / "tee.pdf"
    assert chalkbeam("garment", "draw", "--style", "tee", "--size", "YM", "--out", out)[0] == 0
    assert out.read_bytes().startswith(b"%PDF")


def test_import_then_use(chalkbeam, tmp_path):
    chart = tmp_path / "house.csv"
    chart.write_text("Size,Chest,Length\nM,20.5 in,29 in\nL,220 in,30 in\n")
    words = ("garment", "import", chart, "--style", "tee", "--name", "House tee")
    code, out, err = chalkbeam(*words)
    assert code == 2
    assert "row 3, column B" in out
    assert "1 problem" in err
    chart.write_text("Size,Chest,Length\nM,20.5 in,29 in\nL,22.5 in,30 in\n")
    assert chalkbeam(*words)[0] == 0
    code, out, _ = chalkbeam("garment", "show", "--style", "House tee", "--size", "L")
    assert code == 0
    assert "22 1/2 in" in out
    shelf = json.loads(chalkbeam("garment", "shelf", "--json")[1])
    assert shelf["house_tee"]["sizes"] == ["M", "L"]
