"""The font families that a drawing's text is set in, by its attributes and style sheets.

What the renderer follows is weighed as CSS does. What it does not counts wherever it may
stand: too many families looked up do no harm, and one missed would leave text out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2

LEFT_OPEN = ("serif",)
"""What text is set in that names no font, for the renderer as for most browsers."""

INHERIT = ("inherit",)
"""What leaves the choice to the element around."""

Nodes = Sequence[Any]
"""Parts of a style sheet as tinycss2 parses them; it says nothing of their types."""

_SIZES = {
    "xx-small", "x-small", "small", "medium", "large", "x-large", "xx-large", "xxx-large",
    "smaller", "larger",
}  # fmt: skip
"""Words for a size (CSS Fonts 4, 2.5)."""
_UNDRAWN = {"title", "desc", "metadata", "style", "script"}
_ATTRIBUTE = re.compile(r'\[(?!id\b)[\w-]+([~|]?=("[^"]*"|[\w-]+))?\]')
"""What the renderer follows in brackets; an `id` in them it weighs more than CSS does."""
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
    plain : bool
        Whether the renderer follows such a declaration; of others it takes no notice.
    important : bool
        Whether it is said to be ``!important``.
    """

    families: tuple[str, ...]
    declared: str = ""
    plain: bool = True
    important: bool = False

    @property
    def sure(self) -> bool:
        """Whether nothing that is weaker counts.

        What is important the renderer may weigh in another way than CSS (beside a second, or
        written in capitals), and where nothing is to inherit it takes what is weaker.
        """
        return self.plain and not self.important and self.families != INHERIT


@dataclass(frozen=True)
class TextRun:
    """Letters of a drawing that stand in one element, with every list they may be set in."""

    letters: frozenset[str]
    asked: tuple[Asked, ...]


def runs(root: Element) -> tuple[TextRun, ...]:
    """Return the text of an SVG in the order of the file; white space alone is no text."""
    if all(tag(each) != "text" for each in root.iter()):
        return ()
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
                found.append(TextRun(letters, cascade.asked(element)))
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
        self._matcher = cssselect2.Matcher()
        self._anywhere: list[Asked] = []
        for element in root.iter():
            if tag(element) == "style" and element.get("type", "") in {"", "text/css"}:
                self._read(element.text or "")
        wrapped = cssselect2.ElementWrapper.from_xml_root(root).iter_subtree()
        self._wrapped = {each.etree_element: each for each in wrapped}

    def _read(self, sheet: str) -> None:
        """Take in the rules of a style sheet that speak of fonts.

        In a block within a block (`@media`, nested rules), of which the renderer takes no
        notice, a declaration may mean any element; so may one under a selector that it does
        not follow, and every one where braces do not pair up or the sheet has escapes.
        """
        legible = sheet.count("{") == sheet.count("}") and not re.search(r"\\|<!--", sheet)
        for rule in tinycss2.parse_stylesheet(sheet, skip_comments=True, skip_whitespace=True):
            if rule.type == "qualified-rule":
                selectors = _followed(rule) if legible else None
                for selector in selectors or ():
                    for asked in _declared(rule.content):
                        self._matcher.add_selector(selector, asked)
                if selectors is None:
                    self._anywhere += _declared(rule.content, plain=False)
            elif rule.type == "at-rule" and rule.lower_at_keyword != "font-face":
                self._anywhere += _declared(rule.content or (), plain=False)

    def asked(self, element: Element) -> tuple[Asked, ...]:
        """Return every list that an element's text may be set in, its own first."""
        found: dict[Asked, None] = {}
        seen = {element}
        waiting = [element]
        while waiting:
            here = waiting.pop(0)
            own = list(self._own(here))
            counted = next((n for n, each in enumerate(own, start=1) if each.sure), len(own))
            found |= dict.fromkeys(each for each in own[:counted] if each.families != INHERIT)
            if any(each.plain for each in own) and all(each.families != INHERIT for each in own):
                continue
            above = self._above.get(here, [])
            if not above:
                found[Asked(LEFT_OPEN)] = None
            waiting += [each for each in above if each not in seen]
            seen.update(above)
        return tuple(found)

    def _own(self, element: Element) -> Iterator[Asked]:
        """Yield what is declared for an element, the strongest first (CSS Cascade 5, 6.1)."""
        own: list[Asked] = []
        if attribute := element.get("font-family", "").strip():
            own += _declared(f"font-family:{attribute}")
        if element.get("font"):  # once an attribute (SVG 1.1, 6.1), which the renderer ignores
            own += _declared(f"font:{element.get('font')}", plain=False)
        own += (asked for *_, asked in self._matcher.match(self._wrapped[element]))
        own += _declared(element.get("style", ""))
        own.reverse()
        yield from self._anywhere
        yield from sorted(own, key=lambda asked: not asked.important)


def _followed(rule: Any) -> list[Any] | None:
    """Return the selectors of a rule; None if the renderer does not follow them as they stand.

    It follows tags, classes, ids, attributes, descendants, children and neighbours.
    """
    prelude = [each for each in rule.prelude if each.type != "comment"]
    if any(each.type == "{} block" for each in rule.content) or not all(map(_is_plain, prelude)):
        return None
    try:
        selectors: list[Any] = cssselect2.compile_selector_list(prelude)
    except cssselect2.SelectorError:
        return None
    return selectors


def _is_plain(node: Any) -> bool:
    if node.type == "[] block":
        return _ATTRIBUTE.fullmatch(node.serialize()) is not None
    return node.type in {"ident", "hash", "whitespace"} or any(node == mark for mark in ".*>+,")


def _declared(block: str | Nodes, plain: bool = True) -> Iterator[Asked]:
    """Yield what a block declares of fonts, in the blocks within it too."""
    text = block if isinstance(block, str) else tinycss2.serialize(block)
    nodes = tinycss2.parse_blocks_contents(block, skip_comments=True, skip_whitespace=True)
    plain = plain and "\\" not in text and all(node.type != "error" for node in nodes)
    for node in nodes:
        if node.type == "declaration" and node.lower_name in {"font", "font-family"}:
            yield _asked(node, plain)
        elif node.type in {"qualified-rule", "at-rule"}:
            yield from _declared(node.content or (), plain=False)
        elif node.type == "error" and "font" in text.lower():  # it may be what could not be read
            yield Asked((), " ".join(text.split()), plain=False)


def _asked(node: Any, plain: bool) -> Asked:
    declared = f"{node.name}: {tinycss2.serialize(node.value).strip()}"
    plain = plain and node.name.islower()
    value = [each for each in node.value if each.type not in {"whitespace", "comment"}]
    families = _families(_after_size(value) if node.lower_name == "font" else value)
    if families == ("initial",):
        families = LEFT_OPEN
    if not families or families[0] in {"unset", "revert", "revert-layer"}:
        return Asked((), declared, plain=False)
    return Asked(families, declared, plain, node.important)


def _after_size(value: Nodes) -> Nodes:
    """Return the families of the shorthand `font` (CSS Fonts 4, 2.7), which follow the size.

    None where there is a line height or a keyword for all: those the renderer passes over,
    size and all.
    """
    if any(each == "/" for each in value):
        return ()
    sizes = [
        place
        for place, each in enumerate(value)
        if each.type in {"dimension", "percentage", "number"}
        or (each.type == "ident" and each.lower_value in _SIZES)
    ]
    return value[sizes[-1] + 1 :] if sizes else ()


def _families(value: Nodes) -> tuple[str, ...]:
    """Return the families of a list; empty where it cannot be read."""
    lists = [list(group) for group in _parted(value, ",")]
    if any(
        not group or any(each.type not in {"ident", "string"} for each in group) for group in lists
    ):
        return ()
    return tuple(" ".join(each.value for each in group) for group in lists)


def _parted(nodes: Nodes, mark: str) -> Iterator[Nodes]:
    """Yield what stands between marks."""
    start = 0
    for place, node in enumerate(nodes):
        if node == mark:
            yield nodes[start:place]
            start = place + 1
    yield nodes[start:]
