"""The font families that a drawing's text may be set in, by its attributes and style sheets.

The renderer settles which of several declarations wins. Here every declaration counts
that may: too many families looked up do no harm, and one missed would leave text out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

LEFT_OPEN = ("serif",)
"""What text is set in that names no font, for the renderer as for most browsers."""

_DECLARED = re.compile(r"(?<![\w-])(font(?:-family)?)\s*:\s*([^;{}]+)", re.IGNORECASE)
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_STATEMENT = re.compile(r"@[\w-]+[^{};]*;")
_IMPORTANT = re.compile(r"!\s*important\s*$", re.IGNORECASE)
_FAMILY = re.compile(r"\"[^\"]*\"|'[^']*'|[^,\"']+")
_SIZE = re.compile(
    r"(?:^|\s)(?:[\d.]+(?:[a-z]+|%)?|(?:xx?-)?(?:small|large)|xxx-large|medium|smaller|larger)"
    r"\s+(?=[^\d\s/])(.*)$"
)
"""The size in the shorthand `font` (CSS Fonts 4, 2.7), which the families follow."""
_BRACKETS = re.compile(r"\[[^\]]*\]")
_PLAIN = re.compile(r"[\w\-.#*\s>+]+")
"""Selectors that the renderer follows: tags, classes, ids, descendants, children, neighbours."""
_UNDRAWN = {"title", "desc", "metadata", "style", "script"}
_LINK = "{http://www.w3.org/1999/xlink}href"


@dataclass(frozen=True)
class Asked:
    """A list of families that some text may be set in.

    Attributes
    ----------
    families : tuple of str
        The first that the computer has is taken; empty where the declaration cannot be read.
    declared : str
        The declaration as the drawing writes it.
    sure : bool
        Whether it stands on the element without a doubt, so that none from above counts.
    plain : bool
        Whether the renderer follows such a declaration; of others it takes no notice.
    """

    families: tuple[str, ...]
    declared: str = ""
    sure: bool = False
    plain: bool = True


@dataclass(frozen=True)
class Run:
    """Letters of a drawing that stand in one element, with every list they may be set in."""

    letters: frozenset[str]
    asked: tuple[Asked, ...]


def runs(root: Element) -> tuple[Run, ...]:
    """Return the text of an SVG in the order of the file; white space alone is no text."""
    cascade = _Cascade(root)
    named = {each.get("id"): each for each in root.iter() if each.get("id")}
    found = []
    for text in root.iter():
        if tag(text) != "text":
            continue
        for element in text.iter():
            if tag(element) in _UNDRAWN:
                continue
            said = (element.text or "") + "".join(child.tail or "" for child in element)
            if tag(element) == "tref" and (other := named.get(_linked(element))) is not None:
                said += "".join(other.itertext())
            letters = frozenset(character for character in said if not character.isspace())
            if letters:
                found.append(Run(letters, cascade.asked(element)))
    return tuple(found)


def undrawn(root: Element) -> str:
    """Return the first words of an SVG that are no text to the renderer; empty if none.

    They stand in boxes of HTML or of the SVG 1.2 that never came to be. A `switch` offers
    such a box together with what is drawn instead of it.
    """
    switched = {below for each in root.iter() if tag(each) == "switch" for below in each.iter()}
    for element in root.iter():
        if tag(element) == "flowRoot" or (
            tag(element) == "foreignObject" and element not in switched
        ):
            words = " ".join("".join(element.itertext()).split())
            if words:
                return words
    return ""


def tag(element: Element) -> str:
    """Return an element's name without its namespace; empty for a comment."""
    return str(element.tag).rpartition("}")[2] if isinstance(element.tag, str) else ""


def _linked(element: Element) -> str:
    return (element.get("href") or element.get(_LINK) or "").removeprefix("#")


@dataclass(frozen=True)
class _Rule:
    """A selector's last part, the element it speaks of, and what it declares.

    What a selector says of elements around, or of attributes, is let pass: `alone` tells
    that there is no such thing. None as `name` stands for a selector that may mean any.
    """

    name: str | None
    classes: frozenset[str]
    ids: frozenset[str]
    alone: bool
    asked: tuple[Asked, ...]

    def may_mean(self, element: Element) -> bool:
        if self.name is None:
            return True
        return (
            self.name in {"", "*", tag(element)}
            and self.classes <= set(element.get("class", "").split())
            and self.ids <= {element.get("id")}
        )


class _Cascade:
    """What a drawing declares of fonts, element by element."""

    def __init__(self, root: Element) -> None:
        self._above: dict[Element, list[Element]] = {}
        named = {each.get("id"): each for each in root.iter() if each.get("id")}
        for element in root.iter():
            for child in element:
                self._above.setdefault(child, []).append(element)
            # What is used elsewhere takes its font from there.
            if tag(element) == "use" and (used := named.get(_linked(element))) is not None:
                self._above.setdefault(used, []).append(element)
        sheets = [
            element.text or ""
            for element in root.iter()
            if tag(element) == "style" and element.get("type", "") in {"", "text/css"}
        ]
        self._rules = [rule for sheet in sheets for rule in _rules(sheet)]

    def asked(self, element: Element) -> tuple[Asked, ...]:
        """Return every list that an element's text may be set in, its own first."""
        found: dict[Asked, None] = {}
        seen = {element}
        waiting = [element]
        while waiting:
            here = waiting.pop(0)
            own = list(self._own(here))
            found |= dict.fromkeys(each for each in own if each.families != ("inherit",))
            if any(each.sure and each.families != ("inherit",) for each in own):
                continue
            above = self._above.get(here, [])
            if not above:
                found[Asked(LEFT_OPEN)] = None
            waiting += [each for each in above if each not in seen]
            seen.update(above)
        return tuple(found)

    def _own(self, element: Element) -> Iterator[Asked]:
        attribute = element.get("font-family", "").strip()
        if attribute:
            yield _asked("font-family", attribute, sure=True, plain=True)
        if element.get("font"):  # once an attribute (SVG 1.1, 6.1), which the renderer ignores
            yield _asked("font", element.get("font", ""), sure=False, plain=False)
        yield from _declared(_COMMENT.sub(" ", element.get("style", "")), sure=True, plain=True)
        for rule in self._rules:
            if rule.may_mean(element):
                yield from rule.asked


def _declared(block: str, sure: bool, plain: bool) -> Iterator[Asked]:
    for name, value in _DECLARED.findall(block):
        yield _asked(name, value, sure, plain)


def _asked(name: str, value: str, sure: bool, plain: bool) -> Asked:
    declared = f"{name}: {value.strip()}"
    value = _IMPORTANT.sub("", value.strip()).strip()
    plain = plain and name.islower()
    sure = sure and plain
    if name.lower() == "font":
        # The renderer passes over a shorthand with a line height or a keyword, size and all.
        size = None if "/" in value else _SIZE.search(value)
        if size is None:
            return Asked((), declared, plain=False)
        value = size[1]
    parts = (each.strip().strip("\"'").strip() for each in _FAMILY.findall(value))
    families = tuple(" ".join(each.split()) for each in parts if each)
    if families == ("initial",):
        families = LEFT_OPEN
    if not families or families[0] in {"unset", "revert", "revert-layer"}:
        return Asked((), declared, plain=False)
    return Asked(families, declared, sure, plain)


def _rules(sheet: str) -> Iterator[_Rule]:
    """Yield the rules of a style sheet that speak of fonts.

    In a block within a block (`@media`, nested rules), of which the renderer takes no
    notice, a declaration may mean any element; so may one where braces do not pair up.
    """
    sheet = _STATEMENT.sub(" ", _COMMENT.sub(" ", sheet))
    blocks: list[str] = []
    unpaired = sheet.count("{") != sheet.count("}")
    start, nested = 0, False
    for brace in re.finditer(r"[{}]", sheet):
        piece = sheet[start : brace.start()]
        start = brace.end()
        nested = bool(blocks) and (nested or brace[0] == "{")
        spoken = blocks and _DECLARED.search(piece)
        if spoken and not any(each.startswith("@font-face") for each in blocks):
            yield from _rules_of(blocks[0], piece, plain=not (nested or unpaired))
        if brace[0] == "{":
            blocks.append(piece.strip())
        elif blocks:
            blocks.pop()
    if blocks:
        yield from _rules_of(blocks[0], sheet[start:], plain=False)


def _rules_of(selectors: str, block: str, plain: bool) -> Iterator[_Rule]:
    bare = _BRACKETS.sub("", selectors)
    if not plain or not all(_PLAIN.fullmatch(each) for each in bare.split(",")):
        asked = tuple(_declared(block, sure=False, plain=False))
        yield _Rule(None, frozenset(), frozenset(), False, asked)
        return
    for selector in bare.split(","):
        parts = re.split(r"[\s>+]+", selector.strip())
        name = re.match(r"[\w*-]*", parts[-1])
        alone = len(parts) == 1 and bare == selectors
        yield _Rule(
            name[0] if name else "",
            frozenset(re.findall(r"\.([\w-]+)", parts[-1])),
            frozenset(re.findall(r"#([\w-]+)", parts[-1])),
            alone,
            tuple(_declared(block, sure=alone, plain=True)),
        )
