"""Text in drawings: set in the font it names however that is said, or refused; never left out."""

import base64

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

from calibration.refusal import Refusal
from chalkbeam.artwork import fonts, load_artwork
from overlay.text.typeface import BUNDLED_FONT

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'width="100mm" height="60mm" viewBox="0 0 100 60">{}</svg>'
)
FIRST = '<text x="5" y="40" font-size="30" font-family="Tern Tall">H</text>'
"""A bar whose ink reaches from 5 to 11 across and from 10 to 40 down."""
SECOND = '<text x="60" y="55" font-size="30" {}>H</text>'
LOW = 60 + 24 - 5
"""How wide the ink of both is where the second is set in Tern Low."""


def make_font(path, family, wide, high):
    """Write a font whose only letter is an H: a box, in thousandths of its size."""
    pen = TTGlyphPen(None)
    for number, corner in enumerate([(0, 0), (0, high), (wide, high), (wide, 0)]):
        (pen.lineTo if number else pen.moveTo)(corner)
    pen.closePath()
    empty = TTGlyphPen(None).glyph()
    font = FontBuilder(1000)
    font.setupGlyphOrder([".notdef", "H"])
    font.setupCharacterMap({ord("H"): "H"})
    font.setupGlyf({".notdef": empty, "H": pen.glyph()})
    font.setupHorizontalMetrics({".notdef": (wide, 0), "H": (wide, 0)})
    font.setupHorizontalHeader(ascent=1000, descent=0)
    font.setupNameTable({"familyName": family, "styleName": "Regular", "psName": path.stem})
    font.setupOS2()
    font.setupPost()
    font.save(path)
    return path


@pytest.fixture
def draw(tmp_path, monkeypatch):
    """Draw the inside of an SVG on a computer with three families."""
    have = {
        "DejaVu Sans": (BUNDLED_FONT,),
        "Tern Tall": (make_font(tmp_path / "tall.ttf", "Tern Tall", 200, 1000),),
        "Tern Low": (make_font(tmp_path / "low.ttf", "Tern Low", 800, 250),),
    }
    monkeypatch.setattr(fonts, "installed", lambda: have)

    def call(inside):
        path = tmp_path / "art.svg"
        path.write_text(SVG.format(inside), encoding="utf-8")
        return load_artwork(path)

    return call


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        ("", 'font-family="Tern Low"'),
        ("", "style=\"font-family:'Tern Low'\""),
        ("", "style=\"font:30px 'Tern Low'\""),
        ("", 'style="fill:red; font: italic 700 30px Gone, Tern Low"'),
        ("", 'style="font-family: Tern Low !important"'),
        ("", "style=\"font-family: 'Tern Low' ! important; fill: red\""),
        ("", 'style="/* ours */ font-family: Tern   Low"'),
        ('.a{font-family:"Tern Low"}', 'class="a"'),
        ('text.a{font-family:"Tern Low"}', 'class="a"'),
        ('.a.b{font-family:"Tern Low"}', 'class="b a"'),
        ('text#t{font-family:"Tern Low"}', 'id="t"'),
        ('svg > text.a{font-family:"Tern Low"}', 'class="a"'),
        ('rect, text.a{fill:red}svg .a{font-family:"Tern Low"}', 'class="a"'),
        ('text[fill="red"]{font-family:"Tern Low"}', 'fill="red"'),
        ('text.a{font:30px "Tern Low"}', 'class="a"'),
        ("/* text */ .a{/* x */font-family:Tern Low!important}", 'class="a"'),
        ('@font-face{font-family:Gone;src:url(g.ttf)}.a{font-family:"Tern Low"}', 'class="a"'),
        ('@import url("x.css"); .a{font-family:"Tern Low"}', 'class="a"'),
        ('@media print{rect{fill:red}} .a{font-family:"Tern Low"}', 'class="a"'),
        (".a{font-family:Tern Low}", 'class="a" font-family="Tern Tall"'),
    ],
)
def test_a_font_is_found_however_it_is_named(draw, sheet, said):
    # CSS Fonts 4, 2.1 and 2.7 (the shorthand); Selectors 4; CSS Cascade 5, 6.1 (a sheet
    # outdoes an attribute).
    art = draw(f"<style>{sheet}</style>{FIRST}{SECOND.format(said)}")
    assert art.ink.width == pytest.approx(LOW, abs=0.1)
    assert art.ink.height == pytest.approx(45, abs=0.1)
    assert "Tern Tall" in str(art.remarks[0])
    assert "Tern Low" in str(art.remarks[0])


@pytest.mark.parametrize(
    "inside",
    [
        '<g id="g">{}</g>',
        '<g class="g"><a>{}</a></g>',
        '<g style="font:12px Tern Low">{}</g>',
        '<defs><g id="d">{}</g></defs><use href="#d" font-family="Tern Low"/>',
        '<defs><g id="d">{}</g></defs><use xlink:href="#d" class="g"/>',
    ],
)
def test_a_font_comes_down_from_what_the_text_stands_in(draw, inside):
    sheet = "<style>g#g, .g {font-family: Tern Low}</style>"
    art = draw(sheet + FIRST + inside.format(SECOND.format("")))
    assert art.ink.width == pytest.approx(LOW, abs=0.1)


def test_text_without_a_font_beside_text_with_one_is_drawn(draw):
    art = draw(FIRST + SECOND.format(""))
    # The bundled font's H, from its own outlines: its ink ends 1526 of 2048 units on (glyf).
    assert art.ink.width == pytest.approx(60 + 30 * 1526 / 2048 - 5, abs=0.1)
    assert art.ink.height == pytest.approx(45, abs=0.1)


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        ("", "style=\"font:30px 'Gone'\""),
        ("", 'font-family="Gone !important"'),
        ("text.a{font-family:Gone}", 'class="a"'),
        ("g .b, text#t.a{font:30px Gone}", 'class="a" id="t"'),
        ("@media screen{text{font-family:Gone}}", ""),
        ("text:not(.b){font-family:Gone}", ""),
    ],
)
def test_a_font_that_is_not_there_is_refused_however_it_is_named(draw, sheet, said):
    with pytest.raises(Refusal, match=r"sets text in Gone, a font this computer does not have"):
        draw(f"<style>{sheet}</style>{FIRST}{SECOND.format(said)}")


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        # a selector that does not mean the text (Selectors 4)
        ("g .a{font-family:Gone}", ""),
        ("rect + .a{font-family:Gone}", ""),
        ("g > svg > .a{font-family:Gone}", ""),
        ('[fill="blue"], [y|="5"]{font-family:Gone}', ""),
        # one that is weaker (CSS Cascade 5, 6.1; Selectors 4, 15)
        ("text.a{font-family:Tern Low} .a{font-family:Gone}", ""),
        ("svg .a{font-family:Tern Low} .a{font-family:Gone}", ""),
        ("text[fill]{font-family:Tern Low} text{font-family:Gone}", ""),
        ("#t{font-family:Tern Low} text.a.a{font-family:Gone}", ""),
        (".a{font-family:Gone} .a{font:30px Tern Low}", ""),
        (".a{font-family:Gone; font-family:Tern Low}", ""),
        ("#t{font-family:Gone}", 'style="font-family:Tern Low"'),
        ("*{font-family:Tern Low}", 'font-family="Gone"'),
    ],
)
def test_a_font_that_no_text_comes_out_in_is_not_asked_for(draw, sheet, said):
    whole = f'class="a" id="t" fill="red" {said}'
    art = draw(f"<style>text{{font-family:Tern Low}} {sheet}</style>{SECOND.format(whole)}")
    assert art.ink.width == pytest.approx(24, abs=0.1)
    assert "Gone" not in str(art.remarks[0])


def test_an_important_font_and_what_it_outdoes_are_both_asked_for(draw):
    # Of two important ones the renderer takes the first, CSS the stronger.
    second = SECOND.format('id="t"')
    for sheet in (
        "text{font-family:Tern Low!important} #t{font-family:Tern Tall}",
        "text{font-family:Tern Low!important} #t{font-family:Tern Tall!important}",
    ):
        art = draw(f"<style>{sheet}</style>{second}")
        assert art.ink.width == pytest.approx(24, abs=0.1)
        assert "Tern Tall" in str(art.remarks[0])


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        # what the renderer passes over, so that the text would come out in another font
        ("@media screen{text{font-family:Tern Low}}", ""),
        ("text:nth-child(3){font-family:Tern Low}", ""),
        ("text{fill:red; .a{font-family:Tern Low}}", 'class="a"'),
        ("text{font-family:Tern Low", ""),
        ("rect{fill:red}}text{font-family:Tern Low}", ""),
        ("text.a{FONT-FAMILY:Tern Low}", 'class="a"'),
        ("text..a{font-family:Tern Low}", 'class="a"'),
        ("> text{font-family:Tern Low}", ""),
        ("svg/**/text{font-family:Tern Low}", ""),
        ("style ~ text{font-family:Tern Low}", ""),
        ('[fill="Red" i]{font-family:Tern Low}', 'fill="red"'),
        ('[ fill="red"]{font-family:Tern Low}', 'fill="red"'),
        ("[fill^=re]{font-family:Tern Low}", 'fill="red"'),
        (r".\61{font-family:Tern Low}", 'class="a"'),
        (r"text{font-family:'Tern\20 Low'}", ""),
        (".a{fill; font-family:Tern Low}", 'class="a"'),
        ("", 'style="font:30px/1.2 Tern Low"'),
        ("", 'style="font:caption"'),
        ("", 'font="30px Tern Low"'),
        ("", 'style="fill red; font-family: Tern Low"'),
        ("", 'style="x font-family: Tern Low"'),
        ("", 'font-family="unset"'),
    ],
)
def test_a_font_named_in_a_way_that_is_not_followed_is_refused(draw, sheet, said):
    with pytest.raises(Refusal, match="a font in a way that Chalkbeam does not follow"):
        draw(f"<style>{sheet}</style>{SECOND.format(said)}")


def test_a_letter_is_not_borrowed_from_another_font(draw):
    both = '<text y="40" font-family="Tern Tall">{}</text><text y="50">{}</text>'
    assert draw(both.format("H", "HAT"))
    with pytest.raises(Refusal, match=r"has “A”, which its font \(Tern Tall\) lacks"):
        draw(both.format("HA", "HAT"))
    inner = '<text y="40">A<tspan font-family="Tern Tall">H</tspan>T</text>'
    assert draw(inner)
    with pytest.raises(Refusal, match=r"has “T”, which its font \(Tern Tall\) lacks"):
        draw(inner.replace("H", "T"))


BOX = "<foreignObject width='90' height='50'><p xmlns='http://www.w3.org/1999/xhtml'>Oar</p></{}>"


@pytest.mark.parametrize(
    "inside",
    [
        "<flowRoot><flowRegion><rect width='90' height='9'/></flowRegion>"
        "<flowPara>Oar</flowPara></flowRoot>",
        BOX.format("foreignObject"),
    ],
)
def test_text_in_boxes_that_are_not_drawn_is_refused(draw, inside):
    with pytest.raises(Refusal, match="text in a box that would be left out"):
        draw(FIRST + inside)
    if "foreignObject" in inside:
        assert draw(f"<switch>{inside}{FIRST}</switch>").ink.height == pytest.approx(30, abs=0.1)


def test_a_drawing_with_text_within_a_drawing_is_refused(draw, tmp_path):
    def shown(link):
        return draw(f'{FIRST}<image width="100" height="60" href="{link}"/>')

    for inside in (FIRST, '<rect width="90" height="50"/>'):
        inner = SVG.format(inside).encode()
        (tmp_path / "inner.svg").write_bytes(inner)
        packed = "data:image/svg+xml;base64," + base64.b64encode(inner).decode()
        for link in ("inner.svg", packed):
            if inside == FIRST:
                with pytest.raises(Refusal, match="shows another drawing with text"):
                    shown(link)
            else:
                assert shown(link).ink.width == pytest.approx(90, abs=0.1)
