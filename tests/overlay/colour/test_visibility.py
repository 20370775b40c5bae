"""Colour numbers against published values; palettes that can be told on every cloth."""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from overlay.colour.colorimetry import (
    ciede2000,
    contrast_ratio,
    lab_from_linear,
    linear_from_srgb,
    relative_luminance,
    srgb_from_linear,
)
from overlay.colour.visibility import (
    CLOTH_DIFFERENCE,
    CLOTH_LIGHTNESS,
    Lighting,
    palette_for,
    role_visibilities,
)
from overlay.marks import Role
from overlay.palette import DEFAULT_PALETTE

PAIRS = Path(__file__).parents[2] / "data" / "ciede2000_pairs.csv"

CLOTHS = {
    "white": (245, 245, 245),
    "black": (41, 41, 44),
    "navy": (28, 36, 66),
    "red": (190, 25, 40),
    "heather": (160, 162, 166),
    "safety yellow": (215, 240, 60),
}


def pairs():
    lines = [line for line in PAIRS.read_text().splitlines() if not line.startswith("#")]
    return np.array([[float(value) for value in row] for row in list(csv.reader(lines))[1:]])


def test_ciede2000_against_the_published_pairs():
    # Sharma, Wu & Dalal (2005), Table 1: 34 pairs, differences given to four decimals.
    table = pairs()
    assert len(table) == 34
    ours = ciede2000(table[:, :3], table[:, 3:6])
    np.testing.assert_allclose(ours, table[:, 6], atol=5.1e-5)
    np.testing.assert_allclose(ciede2000(table[:, 3:6], table[:, :3]), ours, atol=1e-12)


def test_the_published_pairs_are_written_down_right():
    # They come from memory: an independent implementation must agree with every one.
    from skimage.color import deltaE_ciede2000

    table = pairs()
    np.testing.assert_allclose(
        deltaE_ciede2000(table[:, :3], table[:, 3:6]), table[:, 6], atol=1e-4
    )


def test_ciede2000_against_scikit_image_on_random_colours():
    from skimage.color import deltaE_ciede2000

    rng = np.random.default_rng(3)
    a, b = (
        np.column_stack([rng.uniform(0, 100, 5000), rng.uniform(-90, 90, (5000, 2))])
        for _ in range(2)
    )
    np.testing.assert_allclose(ciede2000(a, b), deltaE_ciede2000(a, b), atol=1e-10)


def test_contrast_against_wcag():
    # WCAG 2.x, "relative luminance" and "contrast ratio": black on white is 21:1 (definition);
    # #777777 on white is 4.48:1, just short of 4.5 (4.478 by the package wcag-contrast-ratio).
    assert contrast_ratio((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast_ratio((255, 255, 255), (0, 0, 0)) == pytest.approx(21.0)
    assert contrast_ratio((0x77,) * 3, (255,) * 3) == pytest.approx(4.478, abs=5e-4)
    assert relative_luminance([(0, 0, 0), (255, 255, 255)]) == pytest.approx([0.0, 1.0])
    assert relative_luminance((255, 0, 0)) == pytest.approx(0.2126)


def test_srgb_and_lab_against_scikit_image():
    from skimage.color import rgb2lab

    codes = np.random.default_rng(1).integers(0, 256, (2000, 3))
    light = linear_from_srgb(codes)
    assert np.array_equal(srgb_from_linear(light), codes)
    # The two round D65 differently (0.95047 against the sum of the matrix): 0.005 seen.
    np.testing.assert_allclose(lab_from_linear(light), rgb2lab(codes[None] / 255.0)[0], atol=0.01)


def test_the_usual_colours_stay_where_they_are_plain():
    for cloth in ("white", "heather"):
        assert palette_for(CLOTHS[cloth]) == DEFAULT_PALETTE


@pytest.mark.parametrize("cloth", CLOTHS)
def test_every_role_can_be_told_on_every_cloth_of_the_ladder(cloth):
    palette = palette_for(CLOTHS[cloth])
    for role, sight in role_visibilities(palette, CLOTHS[cloth]).items():
        assert sight.difference >= 0.8 * CLOTH_DIFFERENCE, role
        assert sight.lightness >= 0.8 * CLOTH_LIGHTNESS, role
        if role is not Role.CHECK:
            assert sight.apart >= 7.0, role


@pytest.mark.parametrize(
    "cloth", [*CLOTHS.values(), (80, 140, 200), (140, 200, 250), (80, 140, 140), (80, 20, 20)]
)
def test_a_line_is_twice_as_bright_as_its_cloth_for_one_who_sees_no_hue(cloth):
    # A doubling of luminance is one photographic stop, plain to every eye; from memory. The
    # luminance is Y of CIE XYZ from linear sRGB (IEC 61966-2-1), not the L* that was chosen by.
    palette, light = palette_for(cloth), Lighting()
    weights = np.array([0.2126, 0.7152, 0.0722])
    bare = light.seen([(0, 0, 0)], cloth, palette.gamma)[0] @ weights
    for role in Role:
        lit = light.seen([palette.look(role).colour], cloth, palette.gamma)[0] @ weights
        assert lit >= 2 * bare, role


def test_on_red_cloth_the_usual_colours_run_together_and_ours_do_not():
    red = CLOTHS["red"]
    before, after = (
        role_visibilities(DEFAULT_PALETTE, red),
        role_visibilities(palette_for(red), red),
    )
    assert before[Role.LOAD].apart < 2
    assert after[Role.LOAD].apart > 7


def test_no_two_roles_lit_together_share_their_style_and_lines_keep_theirs():
    for cloth in CLOTHS.values():
        palette = palette_for(cloth)
        for role in Role:
            usual = DEFAULT_PALETTE.look(role)
            assert palette.look(role).dash is usual.dash
            assert palette.look(role).boxed is usual.boxed
        lines = [palette.look(role) for role in (Role.LOAD, Role.LAY, Role.CLEAR)]
        assert len({look.dash for look in lines}) == 3
        assert palette.look(Role.WARN).boxed is not palette.look(Role.NOTE).boxed


cloths = st.tuples(*[st.integers(0, 255)] * 3)
lights = st.builds(Lighting, st.floats(200, 10_000), st.floats(10, 2000), st.floats(50, 5000))


@given(cloths, lights)
def test_the_chosen_palette_is_never_worse_to_see_than_the_usual_one(cloth, light):
    def shortage(palette):
        seen = role_visibilities(palette, cloth, light).values()
        from_cloth = sum(
            max(0, 1 - min(s.difference / CLOTH_DIFFERENCE, s.lightness / CLOTH_LIGHTNESS)) ** 2
            for s in seen
        )
        from_each_other = 0.0
        lines = (Role.LOAD, Role.LAY, Role.CLEAR)
        for pair in (*combinations(lines, 2), (Role.NOTE, Role.WARN)):
            colours = np.array([palette.look(role).colour for role in pair])
            lab = lab_from_linear(light.seen(colours, cloth, palette.gamma))
            from_each_other += max(0, 1 - float(ciede2000(lab[0], lab[1])) / 10) ** 2
        return 3 * from_cloth + from_each_other

    assert shortage(palette_for(cloth, light)) <= shortage(DEFAULT_PALETTE) + 1e-9


@given(cloths, lights)
def test_more_light_never_makes_a_line_darker_than_its_cloth(cloth, light):
    for sight in role_visibilities(palette_for(cloth, light), cloth, light).values():
        assert sight.lightness >= 0.0


def test_light_adds_up():
    light = Lighting(projector=3000.0, room=600.0, contrast=300.0)
    assert light.falling((255, 255, 255)) == pytest.approx([3600.0] * 3)
    assert light.falling((0, 0, 0)) == pytest.approx([610.0] * 3)
    # A cloth that sends back no green shows no green light.
    on, off = light.seen([(0, 255, 0), (0, 0, 0)], (255, 0, 255))
    assert on == pytest.approx(off)


def test_a_brighter_room_makes_lines_fainter():
    faint = role_visibilities(DEFAULT_PALETTE, CLOTHS["navy"], Lighting(room=2000))
    plain = role_visibilities(DEFAULT_PALETTE, CLOTHS["navy"], Lighting(room=200))
    assert all(faint[role].difference < plain[role].difference for role in Role)
