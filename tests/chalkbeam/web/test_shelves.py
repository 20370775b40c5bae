"""Garments and fabrics on the page: shown, charts taken in after a look, cloths of the shop's."""

from __future__ import annotations

import re

import pytest

from chalkbeam.garments import charts_folder, garment, styles
from chalkbeam.garments.charts import import_chart
from chalkbeam.garments.fabrics import fabrics, find_fabric
from chalkbeam.orders.transfers import transfers, transfers_file
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
    assert 'name="replace"' in again.text  # there it can be said that it is meant


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


def test_a_chart_bears_its_maker_and_number_and_is_found_by_them(ask, send_chart):
    keep = re.search(r'action="(/garments/chart/[^"]+)"',
                     send_chart(CHART, maker="Harrow Mill", number="HM200").text)[1]  # fmt: skip
    ask(keep, form={})
    assert "Harrow Mill HM200" in ask("/garments").text
    assert garment("HM200", "S").style == garment("House tee", "S").style


# -- transfers ---------------------------------------------------------------------------------

FILM = {"name": "Velvet film", "temperature": "150 °C", "time": "12 s", "peel": "hot",
        "carrier": "clear", "margin": "1/4 in"}  # fmt: skip


def test_a_transfer_is_entered_changed_and_taken_off(ask):
    assert "Nothing is on the shelf" in ask("/transfers").text
    transfers_file().parent.mkdir(parents=True, exist_ok=True)
    ask("/transfers", form=FILM)
    transfers_file().write_text("# ours\n" + transfers_file().read_text("utf-8"), "utf-8")
    (found,) = transfers().values()
    assert (found.temperature, found.peel, found.margin) == ("150 °C", "hot", pytest.approx(6.35))
    shown = ask("/transfers?name=Velvet+film").text
    assert 'value="150 °C"' in shown
    changed = FILM | {"was": "Velvet film", "name": "Velvet", "peel": "", "margin": ""}
    assert ask("/transfers", form=changed).status == 303
    assert {name: (each.peel, each.margin) for name, each in transfers().items()} == {
        "Velvet": ("", None)
    }
    assert transfers_file().read_text("utf-8").startswith("# ours")  # the rest stays as it was
    assert ask("/transfers/away", form={"name": "Velvet"}).status == 303
    assert transfers() == {}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"name": ""}, "no name yet"), ({"temperature": "150"}, "no unit"),
     ({"margin": "wide"}, "not a length"), ({"carrier": "glass"}, "carrier")],
)  # fmt: skip
def test_a_transfer_that_cannot_be_is_refused_and_nothing_is_kept(ask, wrong, said):
    answer = ask("/transfers", form=FILM | wrong)
    assert answer.status == 400
    assert said in answer.text
    assert not transfers_file().exists()


def test_who_may_press_alone_changes_no_shelf(ask):
    assert ask("/transfers", right=Right.PRESS).status == 200
    assert ask("/transfers", form=FILM, right=Right.PRESS).status == 403
    ask("/transfers", form=FILM)
    assert "already" in ask("/transfers", form=FILM).text
