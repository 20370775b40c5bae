"""The font families that a drawing's text may be set in, by its attributes and style sheets.

The renderer settles which of several declarations wins. Here every declaration counts
that may: too many families looked up do no harm, and one missed would leave text out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

import tinycss2

LEFT_OPEN = ("serif",)
"""What text is set in that names no font, for the renderer as for most browsers."""

Nodes = Sequence[Any]
"""Parts of a style sheet as tinycss2 parses them; it says nothing of their types."""

_SIZES = {
    "xx-small", "x-small", "small", "medium", "large", "x-large", "xx-large", "xxx-large",
    "smaller", "larger",
}  # fmt: skip
"""Words for a size (CSS Fonts 4, 2.5)."""
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
            yield from _declared(f"font-family:{attribute}", sure=True)
        if element.get("font"):  # once an attribute (SVG 1.1, 6.1), which the renderer ignores
            yield from _declared(f"font:{element.get('font')}", plain=False)
        yield from _declared(element.get("style", ""), sure=True)
        for rule in self._rules:
            if rule.may_mean(element):
                yield from rule.asked


def _declared(block: str | Nodes, sure: bool = False, plain: bool = True) -> Iterator[Asked]:
    """Yield what a block declares of fonts, in the blocks within it too."""
    text = block if isinstance(block, str) else tinycss2.serialize(block)
    for node in tinycss2.parse_blocks_contents(block, skip_comments=True, skip_whitespace=True):
        if node.type == "declaration" and node.lower_name in {"font", "font-family"}:
            yield _asked(node, sure, plain)
        elif node.type in {"qualified-rule", "at-rule"}:
            yield from _declared(node.content or (), plain=False)
        elif node.type == "error" and "font" in text.lower():  # it may be what could not be read
            yield Asked((), " ".join(text.split()), plain=False)


def _asked(node: Any, sure: bool, plain: bool) -> Asked:
    declared = f"{node.name}: {tinycss2.serialize(node.value).strip()}"
    plain = plain and node.name.islower()
    value = [each for each in node.value if each.type not in {"whitespace", "comment"}]
    families = _families(_after_size(value) if node.lower_name == "font" else value)
    if families == ("initial",):
        families = LEFT_OPEN
    if not families or families[0] in {"unset", "revert", "revert-layer"}:
        return Asked((), declared, plain=False)
    return Asked(families, declared, sure and plain, plain)


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


def _rules(sheet: str) -> Iterator[_Rule]:
    """Yield the rules of a style sheet that speak of fonts.

    In a block within a block (`@media`, nested rules), of which the renderer takes no
    notice, a declaration may mean any element; so may one where braces do not pair up.
    """
    paired = sheet.count("{") == sheet.count("}")
    for rule in tinycss2.parse_stylesheet(sheet, skip_comments=True, skip_whitespace=True):
        if rule.type == "qualified-rule":
            yield from _rules_of(rule, paired)
        elif rule.type == "at-rule" and rule.lower_at_keyword != "font-face":
            yield _meaning_any(rule)


def _rules_of(rule: Any, paired: bool) -> Iterator[_Rule]:
    content = rule.content
    bare = [each for each in rule.prelude if each.type not in {"[] block", "comment"}]
    nested = any(each.type == "{} block" for each in content)
    if nested or not paired or not all(_is_plain(each) for each in bare):
        yield _meaning_any(rule)
        return
    for selector in _parted(bare, ","):
        parts = _compounds(selector)
        alone = len(parts) == 1 and len(bare) == len(rule.prelude)
        last = parts[-1]
        after_dot = {place + 1 for place, each in enumerate(last) if each == "."}
        words = [(place, each.value) for place, each in enumerate(last) if each.type == "ident"]
        yield _Rule(
            next((word for place, word in words if place not in after_dot), ""),
            frozenset(word for place, word in words if place in after_dot),
            frozenset(each.value for each in last if each.type == "hash"),
            alone,
            tuple(_declared(content, sure=alone)),
        )


def _meaning_any(rule: Any) -> _Rule:
    asked = tuple(_declared(rule.content or (), plain=False))
    return _Rule(None, frozenset(), frozenset(), False, asked)


def _is_plain(node: Any) -> bool:
    """Tell whether the renderer follows a selector with this in it.

    It follows tags, classes, ids, descendants, children and neighbours.
    """
    return node.type in {"ident", "hash", "whitespace"} or any(node == mark for mark in ".*>+,")


def _compounds(selector: Nodes) -> list[Nodes]:
    """Return what a selector says of each element that it speaks of, the last one its own."""
    parts: list[list[Any]] = [[]]
    for node in selector:
        if node.type == "whitespace" or node == ">" or node == "+":
            parts.append([])
        else:
            parts[-1].append(node)
    return [part for part in parts if part] or [[]]
