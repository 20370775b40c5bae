"""The page in another language: everything that is shown comes out of one file.

The language is a pseudo-one (common practice in software that is translated): each text between
brackets. Whatever is shown without them is no text that a translator could reach.
"""

from __future__ import annotations

import functools
import json
import re
import tomllib
from html.parser import HTMLParser

import platformdirs
import pytest

from calibration.refusal import Refusal
from chalkbeam.web import words
from chalkbeam.web.sayings import Sayings
from tests.support.crew_order import open_run
from tests.support.light import Light
from tests.support.page_tour import STOPS, Tour
from tests.support.until import until
from tools import texts_to_translate

SHOWN = {"alt", "title", "placeholder", "aria-label"}
UNREAD = {"script", "style", "datalist", "head", "code", "kbd"}
BRACKETED = re.compile(r"⟦[^⟦⟧]*⟧")

CODES = re.compile(r"#[0-9a-f]{6}|\b[A-Z]{1,4}\b")
"""Colours and sizes, as sheets have them."""

THEIR_OWN = {
    # what the shop typed and named itself
    "Rowing", "Faulty", "Tern", "Harbour", "Club", "rowing",
    "sheet", "csv", "photo", "jpg", "heic", "press", "crew", "crest", "png", "MARIT", "see",
    "set", "up", "pennant",
    # the program's name, units and signs of open standards, caps of keys
    "Chalkbeam", "mm", "in", "cm", "px", "PDF", "CSV", "XLSX", "DIN", "EN", "NIST", "ISO",
    "XS", "XL", "AM", "AL",
}  # fmt: skip


def bracketed(text: str) -> str:
    return f"⟦{text}⟧"


@functools.cache
def pseudo_file() -> str:
    """Return a file of texts as a translator hands it in, TOML."""
    lines: list[str] = []

    def table(path, values):
        lines.append(f"[{path}]")
        for key, text in values.items():
            if isinstance(text, str):
                lines.append(f"{key} = {json.dumps(bracketed(text))}")
        for key, each in values.items():
            if isinstance(each, dict):
                table(f"{path}.{key}", each)

    for name, values in tomllib.loads(texts_to_translate.OWN.read_text("utf-8")).items():
        table(name, values)
    said = texts_to_translate.said()
    rows = [f"{json.dumps(each)} = {json.dumps(bracketed(each))}" for each in said]
    return "\n".join([*lines, "[said]", *rows])


@pytest.fixture
def pseudo():
    """The shop's own language: every text in brackets."""
    file = platformdirs.user_data_path("chalkbeam", appauthor=False) / words.FILE
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(pseudo_file(), encoding="utf-8")
    words.language.cache_clear()
    yield
    words.language.cache_clear()


class Seen(HTMLParser):
    """Collects what is shown: texts, and attributes that are read out."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.inside: list[tuple[str, bool]] = []

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        apart = tag in UNREAD or "path" in (given.get("class") or "").split()
        if tag not in ("input", "img", "meta", "link", "br", "path", "rect", "line", "image",
                       "circle", "polygon", "use", "hr"):  # fmt: skip
            self.inside.append((tag, apart))
        if not any(each for _, each in self.inside):
            self.texts += [value or "" for name, value in attributes if name in SHOWN]

    def handle_startendtag(self, tag, attributes):
        pass

    def handle_endtag(self, tag):
        while self.inside and self.inside.pop()[0] != tag:
            pass

    def handle_data(self, data):
        if not any(each for _, each in self.inside):
            self.texts.append(data)


def english(texts) -> list[str]:
    """Return what is shown without brackets: words that are neither the shop's own nor signs."""
    left = []
    for text in texts:
        rest = text
        while (shorter := BRACKETED.sub(" ", rest)) != rest:
            rest = shorter
        found = set(re.findall(r"[^\W\d_]{2,}", CODES.sub(" ", rest))) - THEIR_OWN
        if found:
            left.append(" ".join(text.split()))
    return left


def of_page(html: str) -> list[str]:
    reader = Seen()
    reader.feed(html)
    return english(reader.texts)


def test_a_text_without_brackets_is_seen():
    assert of_page("<p title='Look'>⟦{0} ⟦a⟧ b⟧ 3 mm</p><br>here") == ["Look", "here"]


MORE = ("/garments/nothing", "/orders/rowing/pictures?part=1", "/orders/nowhere")
"""Addresses besides those of the tour."""


def test_every_text_on_every_page_can_be_translated(pseudo, ask, served, workshop, tmp_path):
    tour = Tour(ask, served.app.state, workshop, tmp_path)
    wrong = {}
    stops = [stop for stop in STOPS if not stop.name.startswith("press,")]
    for name, arrive in [
        *((stop.name, stop.arrive) for stop in stops),
        *((each, lambda tour, each=each: each) for each in MORE),
    ]:
        if found := of_page(ask(arrive(tour)).text):  # each as it is then
            wrong[name] = found
    assert wrong == {}


UNSAID = {"number", "title", "picture", "art", "step", "steps"}
"""Values at the press that are nobody's words, or the shop's own."""


def everything(values) -> list[str]:
    """Return every text in plain values."""
    match values:
        case str():
            return [values]
        case dict():
            said = [each for name, each in values.items() if name not in UNSAID]
            return everything(said)
        case list():
            return [text for each in values for text in everything(each)]
    return []


def shown_as(ask, number):
    """Wait until the page shows the state of a number, and return it."""
    until(lambda: ask("/press/state").json["number"] == number)
    return ask("/press/state").json


KEYS = """
right space right return 0 g right return s 1 u x 1 1 u space space space space 2 p p j escape
b c c h h 2 1 u escape
"""


def test_every_text_at_the_press_can_be_translated(pseudo, let_in, ask, served, tmp_path):
    """By keys through every question, with a browser that shows what comes of each."""
    lit = Light(open_run(tmp_path))
    served.app.state.press.attach(lit.work())
    page = let_in()
    page.goto("/press")
    page.locator(".head").wait_for()
    heard = {}
    try:
        for number, key in enumerate(KEYS.split()):
            page.wait_for_timeout(160)  # a pedal's bounce is shorter
            lit.key(key)
            number = lit.taps.number(lit.station)
            state = shown_as(ask, number)
            severities = {weight for weight, _ in state["warnings"]}
            if found := set(english(everything(state))) - severities:
                heard[number, key] = found
            page.get_by_role("button", name="⟦More⟧").or_(page.locator("footer")).first.wait_for()
            if found := of_page(page.locator("main").inner_html()):
                heard[number, key, "shown"] = found
    finally:
        lit.end()
    assert heard == {}


# -- a translator's file ------------------------------------------------------------------------


def test_a_sentence_is_known_by_its_words_and_its_values_are_put_into_the_language_too():
    german = Sayings({
        "{0} s of the dwell left: once more if it is done": "noch {0} s: fertig? Dann noch einmal",
        "Put {0} at {1} in place of {2}?": "{0} statt {2}: {1}?",
        "left chest": "linke Brust",
        "{0} left": "{0} links",
        "undone: {0}": "zurück: {0}",
    })  # fmt: skip
    assert german.of("4 s of the dwell left: once more if it is done").startswith("noch 4 s")
    assert (
        german.of("Put crest at left chest in place of nape?") == "crest statt nape: linke Brust?"
    )
    assert german.of("undone: 3.0 mm left") == "zurück: 3.0 mm links"
    assert german.of("navy, M · left chest: crest.png") == "navy, M · linke Brust: crest.png"
    assert german.of("What nobody knows. left chest") == "What nobody knows. linke Brust"
    assert Sayings({}).of("left chest") == "left chest"


def test_what_a_translator_got_wrong_stays_english_and_is_told(tmp_path, caplog):
    file = tmp_path / "texts.toml"
    file.write_text(
        '[press]\nof = "{done} von {total}"\nundo = "Zurück"\nredo = ""\nskip = "{"\n'
        '[said]\n"{0} left" = "{1} links"\n"yes" = "ja"\n'
    )
    found = words.translated(words.texts(), file)
    assert found.texts["press.undo"] == "Zurück"
    assert found.texts["press.redo"] == "Redo"
    assert found.texts["press.of"] == "{pressed} of {total} pressed"
    assert (found.sayings.of("3 left"), found.sayings.of("yes")) == ("3 left", "ja")
    assert found.texts["press.skip"] == "Skip"
    assert len(caplog.messages) == 3
    file.write_text("[press\n")
    with pytest.raises(Refusal, match="not TOML"):
        words.translated(words.texts(), file)


def test_the_file_to_translate_changes_nothing_before_it_is_translated(tmp_path):
    file = tmp_path / "texts.toml"
    file.write_text(texts_to_translate.file_of(["yes", "{0} left"]), encoding="utf-8")
    found = words.translated(words.texts(), file)
    assert found.texts == words.texts()
    assert found.sayings.of("3 left") == "3 left"
