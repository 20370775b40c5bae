"""Garments and fabrics on the page: shown, charts taken in after a look, cloths of the shop's."""

from __future__ import annotations

import pytest

from chalkbeam.garments import charts_folder, garment, styles
from chalkbeam.garments.charts import import_chart
from chalkbeam.garments.fabrics import fabrics, find_fabric
from chalkbeam.web.doors import Right

CHART = b"Size,Chest (in),Body length (in),Weight\nS,18,28,1\nM,20,29,1\n"
ASKED = {"style": "crew_tee", "name": "House tee", "unit": "", "fit": "regular"}


@pytest.fixture
def send_chart(ask):
    """Send a chart to be read; `fields` change what is asked for."""

    def send(content, name="theirs.csv", right=Right.SET_UP, **fields):
        parts = [
            f'--edge\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
            for key, value in (ASKED | fields).items()
        ]
        head = f'--edge\r\nContent-Disposition: form-data; name="chart"; filename="{name}"\r\n\r\n'
        body = b"".join([*parts, head.encode(), content, b"\r\n--edge--\r\n"])
        kind = "multipart/form-data; boundary=edge"
        return ask("/garments/chart", body=body, content_type=kind, right=right)

    return send


def test_every_style_is_listed_and_drawn(ask):
    listed = ask("/garments").text
    for style in styles():
        assert f'href="/garments/{style}"' in listed
    shown = ask("/garments/crew_tee?size=XL&fit=womens").text
    assert "women&#39;s adult XL" in shown
    assert shown.count("<svg") == 3  # front, back, and one sleeve, which the other mirrors
    assert ask("/garments/crew_tee/drawing.pdf?size=XL").body.startswith(b"%PDF")
    assert ask("/garments/moon_suit").status == 400


def test_a_chart_is_shown_as_understood_and_then_kept_as_the_command_line_does(
    ask, send_chart, tmp_path
):
    answer = send_chart(CHART).text
    # The international inch is 25.4 mm: 20 in are 508 mm.
    assert "<td>508 mm (20 in)</td>" in answer
    assert "Columns not used: Weight" in answer
    assert not charts_folder().exists()
    action = answer.partition('action="')[2].partition('"')[0]
    kept = ask(action, form={})
    assert kept.headers["location"] == "/garments/house_tee"
    assert garment("House tee", "M").measures["half_chest"].value == pytest.approx(508)
    (tmp_path / "theirs.csv").write_bytes(CHART)
    stored, _ = import_chart(
        tmp_path / "theirs.csv", "crew_tee", name="House tee", folder=tmp_path / "charts"
    )
    page = (charts_folder() / "house_tee.toml").read_bytes()
    assert page == stored.read_bytes()
    again = ask(action, form={})
    assert again.status == 400
    assert "There is a chart" in again.text


def test_the_faults_of_a_chart_are_told_and_nothing_can_be_kept(send_chart):
    answer = send_chart(CHART.replace(b"20,29", b"40,x"))
    assert answer.status == 200
    assert (
        "Row 3, column B: The half chest of 1016 mm (40.0 in) is far from the 508 mm" in answer.text
    )
    assert "Row 3, column C" in answer.text
    assert 'name="replace"' not in answer.text


@pytest.mark.parametrize(
    ("content", "name", "fields"),
    [(CHART, "theirs.exe", {}), (b"hello", "a.csv", {}), (b"PK\x03\x04zz", "a.xlsx", {}),
     (CHART, "a.csv", {"style": "moon"}), (CHART, "a.csv", {"unit": "ell"})],
    ids=["a program", "no table", "a broken workbook", "no style", "no unit"],
)  # fmt: skip
def test_what_is_no_chart_is_refused_by_its_own_name(send_chart, content, name, fields):
    answer = send_chart(content, name, **fields)
    assert answer.status == 400
    assert "/tmp" not in answer.text
    assert not charts_folder().exists()


def test_a_chart_is_not_taken_from_who_may_only_press(ask, send_chart):
    assert send_chart(CHART, right=Right.PRESS).status == 403
    assert ask("/garments/chart/nothing", form={}).status == 400


def test_cloths_are_shown_and_new_ones_found_by_sheets(ask):
    listed = ask("/fabrics").text
    assert all(f'fill="{each.hex}"' in listed for each in fabrics().values())
    assert ask("/fabrics", form={"name": "harbour blue", "colour": "#1D2542"}).status == 303
    assert find_fabric("Harbour Blue").hex == "#1d2542"
    assert "harbour blue" in ask("/fabrics").text
    assert ask("/fabrics", form={"name": "x", "colour": "red"}).status == 400
    assert ask("/fabrics", form={"name": "x", "colour": "#000000"}, right=Right.SEE).status == 403


def test_a_cloth_is_shown_in_light(ask):
    picture = ask("/fabrics/ladder.png?cloth=navy")
    assert picture.body.startswith(b"\x89PNG")
    assert ask("/fabrics/ladder.png?cloth=moon").status == 400
