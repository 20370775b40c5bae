"""Every relative link, picture and anchor of the pages leads somewhere."""

from __future__ import annotations

import re

import pytest
from PIL import Image

from tests.support.pages import PAGES, ROOT, anchors, prose

LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    lost = []
    for target in LINK.findall(prose(page)):
        if target.startswith(("http:", "https:", "mailto:")):
            continue
        place, _, anchor = target.partition("#")
        path = ((ROOT / page).parent / place).resolve() if place else ROOT / page
        if not path.exists() or (anchor and anchor not in anchors(str(path.relative_to(ROOT)))):
            lost.append(target)
    assert lost == []


def test_every_page_of_docs_is_looked_at_and_found_from_the_readme() -> None:
    there = {f"docs/{path.name}" for path in (ROOT / "docs").glob("*.md")}
    assert there <= set(PAGES)
    assert there <= set(LINK.findall(re.sub(r"#[\w-]+\)", ")", prose("README.md"))))


def test_pictures_are_small_and_shown() -> None:
    shown = {
        ((ROOT / page).parent / target).resolve()
        for page in PAGES
        for target in LINK.findall(prose(page))
        if target.endswith(".jpg")
    }
    there = set((ROOT / "sample_images" / "pictures").iterdir())
    assert there == shown
    assert sum(path.stat().st_size for path in there) < 1_500_000
    for path in there:
        with Image.open(path) as picture:
            assert picture.width <= 1000, path.name
