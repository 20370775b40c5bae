"""`chalkbeam proof`: files written, exit codes, refusals."""

import json
from pathlib import Path

import pytest
from PIL import Image
from pypdfium2 import PdfDocument

from chalkbeam.cli.app import main

CREST = Path(__file__).parents[3] / "src" / "chalkbeam" / "simulator" / "tern_harbour" / "crest.svg"


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


@pytest.fixture(autouse=True)
def _small_views(monkeypatch):
    monkeypatch.setattr("chalkbeam.paper.proof.sheet.PICTURE", 120)
    monkeypatch.setattr("chalkbeam.cli.commands.proof.VIEW", 160)


TEE = ("proof", "--style", "tee", "--size", "M", "--location", "left-chest")


def test_proof_and_views(chalkbeam, tmp_path):
    out = tmp_path / "made" / "proof.pdf"
    code, said, _ = chalkbeam(
        *TEE, "--art", CREST, "--width", "3.5in", "--out", out, "--views", tmp_path / "views",
        "--fabric", "navy", "--json",
    )  # fmt: skip
    assert code == 0
    assert out.read_bytes().startswith(b"%PDF")
    answer = json.loads(said)
    assert answer["out_of_sight"] == 0.0
    assert sorted(p.name for p in (tmp_path / "views").iterdir()) == [
        "worn-straight.png",
        "worn-three-quarter.png",
    ]


@pytest.mark.proof
def test_a_belly_turns_a_low_wide_print_further(chalkbeam, tmp_path):
    words = ("proof", "--style", "tee", "--size", "M", "--location", "left-hem", "--art", CREST)
    turned = {}
    for belly in ("0", "1"):
        code, said, _ = chalkbeam(
            *words, "--width", "4in", "--belly", belly, "--out", tmp_path / "p.pdf", "--json"
        )
        assert code == 0
        answer = json.loads(said)
        turned[belly] = answer["edge_on"] + answer["out_of_sight"]
    assert turned["1"] > turned["0"]


def test_proof_of_one_of_a_ganged_sheet(chalkbeam, tmp_path):
    image = Image.new("RGBA", (1100, 400), (0, 0, 0, 0))
    image.paste((200, 0, 0, 255), (50, 50, 350, 150))
    image.paste((0, 0, 200, 255), (700, 100, 900, 300))
    image.save(tmp_path / "gang.png")
    out = tmp_path / "proof.pdf"
    gang = (*TEE, "--art", tmp_path / "gang.png", "--sheet-width", "11in", "--template")
    assert chalkbeam(*gang, "--pick", "2", "--out", out)[0] == 0
    with PdfDocument(out) as page:
        assert "gang #2" in page[0].get_textpage().get_text_bounded()
    code, _, err = chalkbeam(*gang, "--pick", "3", "--out", tmp_path / "none.pdf")
    assert (code, "holds 2 artworks" in err) == (2, True)


def test_template_for_lettering(chalkbeam, tmp_path):
    out = tmp_path / "template.pdf"
    code, said, _ = chalkbeam(
        *TEE, "--text", "Tove", "--height", "20mm", "--out", out, "--template", "--paper", "a4"
    )
    assert code == 0
    assert "true scale" in said
    assert out.read_bytes().startswith(b"%PDF")


def test_a_spoiling_placement_is_written_but_answered_no(chalkbeam, tmp_path):
    out = tmp_path / "template.pdf"
    words = ("proof", "--style", "zip_hood", "--size", "M", "--location", "centre-chest")
    code, said, _ = chalkbeam(
        *words, "--art", CREST, "--width", "200mm", "--out", out, "--template"
    )
    assert code == 1
    assert "zip" in said


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ((), "--art"),
        (("--art", "missing.png", "--width", "3in"), "missing.png"),
        (("--art", CREST, "--width", "3"), "no unit"),
        (("--art", CREST, "--belly", "1.5"), "from 0 (flat) to 1 (full)"),
        (("--art", CREST, "--belly", "nan"), "from 0 (flat) to 1 (full)"),
        (("--art", CREST, "--width", "3in", "--fabric", "octarine"), "octarine"),
    ],
)
def test_bad_input(chalkbeam, tmp_path, more, says):
    out = tmp_path / "proof.pdf"
    code, _, err = chalkbeam(*TEE, *more, "--out", out)
    assert code == 2
    assert says in err
    assert not out.exists()


def test_says_what_it_does_and_first_that_its_file_is_a_pdf(chalkbeam, tmp_path):
    words = (*TEE, "--art", CREST, "--width", "90mm", "--out")
    code, _, said = chalkbeam(*words, tmp_path / "proof.docx")
    assert code == 2
    assert "does not end in .pdf, which is what is written: name it proof.pdf" in said
    assert "Drawing the proof …" in chalkbeam(*words, tmp_path / "proof.pdf")[2]
