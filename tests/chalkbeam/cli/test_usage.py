"""A command line that cannot be understood: one sentence, exit code 2."""

import sys

import pytest

from chalkbeam.cli import app as program


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["run"], "The sheet is missing: type `chalkbeam run SHEET`"),
        (
            ["location", "copy", "nape"],
            "The new name is missing: type `chalkbeam location copy NAME NEW-NAME`",
        ),
        (["sheet", "check"], "type `chalkbeam sheet check SHEET`"),
        (["sheet", "rescue", "x.db"], "The option --out is missing"),
        (["place"], "The option --style is missing: type `chalkbeam place --style STYLE"),
        (["run", "x.csv", "--lamp"], "`chalkbeam run --help` lists"),
        (["runn"], "runn"),
        (["report", "--measure", "long"], "chalkbeam: --measure: that is no number: `chalkbeam"),
        (
            ["proof", "--style", "tee", "--size", "M", "--location", "nape", "--paper", "legal"],
            "--paper: “legal” is not one of letter, a4: `chalkbeam proof",
        ),
    ],
)
def test_one_sentence_says_what_to_type(arguments, says, capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["/usr/bin/chalkbeam", *arguments])
    with pytest.raises(SystemExit) as end:
        program.main()
    assert end.value.code == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.startswith("chalkbeam: ")
    assert len(said.splitlines()) == 1


def test_a_photo_of_cloth_needs_to_be_told_where_the_cloth_is(capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["chalkbeam", "fabrics", "--photo", "cloth.png"])
    with pytest.raises(SystemExit):
        program.main()
    assert "write --patch left,top,width,height in px, 8 px" in capsys.readouterr().err
