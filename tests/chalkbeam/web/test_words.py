"""Every text of the page stands in one file, and every one that is asked for is there."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import jinja2
import pytest

from chalkbeam.web.parts import PARTS
from chalkbeam.web.words import texts

ROOM = Path(__file__).parents[3] / "src" / "chalkbeam" / "web"
TEMPLATES = sorted((ROOM / "templates").rglob("*.html"))
SHOWN = {"alt", "title", "placeholder", "aria-label", "aria-description", "value", "content"}
CODED = {"radio", "checkbox", "hidden"}
"""Inputs whose value nobody reads."""


class Literals(HTMLParser):
    """Collects the words that a reader would see."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.inside: list[str] = []

    def handle_starttag(self, tag, attributes):
        if tag in ("script", "style"):
            self.inside.append(tag)
        unseen = {"value"} if tag == "button" or dict(attributes).get("type") in CODED else set()
        if tag != "meta":
            self.words += [value or "" for name, value in attributes if name in SHOWN - unseen]

    def handle_endtag(self, tag):
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data):
        if not self.inside:
            self.words.append(data)


def literal_words(template: str) -> list[str]:
    """Return words that stand in a template itself."""
    tokens = jinja2.Environment().lex(template)
    reader = Literals()
    inside = 0
    for _, kind, value in tokens:
        inside += kind in ("variable_begin", "block_begin")
        inside -= kind in ("variable_end", "block_end")
        if kind == "data":
            reader.feed(value)
        elif kind == "variable_begin":
            reader.feed("0")
    return [found for text in reader.words for found in re.findall(r"[^\W\d_]{2,}", text)]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_template_has_words_of_its_own(path):
    assert literal_words(path.read_text("utf-8")) == []


def test_words_in_a_template_are_seen():
    assert literal_words('<p title="Look">{{ t("a.b") }} here</p>') == ["Look", "here"]


def keys_asked_for() -> set[str]:
    sources = [*ROOM.rglob("*.py"), *ROOM.rglob("*.html"), *ROOM.rglob("*.js")]
    own = [path for path in sources if ".module" not in path.name]
    asked = re.compile(r"""\bt\(\s*["']([a-z_0-9.]+\.[a-z_0-9]+)["']""")
    return {key for path in own for key in asked.findall(path.read_text("utf-8"))}


def test_every_text_asked_for_is_there():
    asked = keys_asked_for()
    assert len(asked) > 20
    assert asked - set(texts()) == set()


def test_every_part_in_the_menu_has_its_words_and_its_addresses():
    for part in PARTS:
        assert f"menu.{part.name}" in texts()
        assert f"menu.{part.name}_about" in texts()
        doors = part.doors()
        assert {door.path.split("/")[1] for door in doors} == {part.name}
        (first,) = (
            door for door in doors if door.path == f"/{part.name}" and "GET" in door.methods
        )
        assert first.right is part.right


def test_no_page_loads_anything_from_elsewhere():
    for path in [*ROOM.rglob("*.html"), *ROOM.rglob("*.css"), *ROOM.rglob("*.js")]:
        text = path.read_text("utf-8").replace("http://www.w3.org/", "")
        assert not re.search(r"(https?:)?//[a-z0-9-]+\.[a-z]", text), path.name
