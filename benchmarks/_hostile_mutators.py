"""Ways to spoil an input: bits, cuts, absurd numbers, nesting, parts of packed files."""

from __future__ import annotations

import io
import json
import re
import zipfile
from random import Random
from typing import Any

NUMBERS = (
    "0", "-1", "1e308", "-1e308", "1e-308", "1e400", "nan", "inf", "-inf", "9" * 5000, "9" * 30,
    "1/0", "3.51/2", "½5", "1,000", "1.000", "0x10", "1_000", "٣", "00", "-0", "1e9", "65535",
    "4294967296", "0.000000001", "99999999999", "1e5", "2147483648",
)  # fmt: skip
WORDS = (
    "", " ", "\x00", "\ufeff", "\u202e", "'", '"', "../../etc/passwd", "/dev/zero", "a" * 10_000,
    "{}", "[]", "null", "None", "true", "-", "--", "=1+1", "💧", "\r\n", "#REF!", "%s%n", "<!--",
    "&amp;", "]]>", "æ", "NaN", "../x.png", "C:\\x", "~", "*", "\\ud800",
)  # fmt: skip
BYTES = (
    b"\x00",
    b"\xff",
    b"\xff\xff\xff\xff",
    b"\x7f\xff\xff\xff",
    b"\x80\x00\x00\x00",
    b"\x00" * 64,
)


def mutated_bytes(whole: bytes, chance: Random) -> bytes:
    """Return content with bits flipped, parts cut, doubled, or overwritten."""
    data = bytearray(whole)
    for _ in range(chance.choice((1, 1, 1, 2, 4, 12))):
        if not data:
            break
        at = chance.randrange(min(len(data), chance.choice((64, 512, len(data)))))
        match chance.randrange(7):
            case 0 | 1:
                data[at] ^= 1 << chance.randrange(8)
            case 2:
                new = chance.choice(BYTES)
                data[at : at + len(new)] = new
            case 3:
                del data[at:]
            case 4:
                del data[at : at + chance.randrange(1, 200)]
            case 5:
                data[at:at] = data[at : at + chance.randrange(1, 400)]
            case _:
                data[at : at + 8] = chance.randbytes(8)
    return bytes(data)


def mutated_text(whole: bytes, chance: Random) -> bytes:
    """Return text with a number or word replaced, lines moved, or brackets nested; or as bytes."""
    if chance.random() < 0.25:
        return mutated_bytes(whole, chance)
    text = whole.decode("latin-1")
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        match chance.randrange(6):
            case 0 | 1:
                text = _replaced(text, r"\d+(?:\.\d+)?", chance.choice(NUMBERS), chance)
            case 2 | 3:
                text = _replaced(text, r"[\w.-]+", chance.choice(WORDS + NUMBERS), chance)
            case 4:
                lines = text.split("\n")
                at = chance.randrange(len(lines))
                part = lines[at : at + 2]
                lines[at : at + 2] = part * chance.choice((0, 2, 50))
                text = "\n".join(lines)
            case _:
                deep = chance.choice((3, 250, 3000, 20_000))
                before, after = chance.choice((("[", "]"), ("{", "}"), ("<g>", "</g>"), ("(", ")")))
                text = _replaced(text, r"[\w.-]+", before * deep + after * deep, chance)
    return text.encode("latin-1", errors="replace")


def _replaced(text: str, pattern: str, new: str, chance: Random) -> str:
    found = list(re.finditer(pattern, text))
    if not found:
        return text + new
    one = chance.choice(found)
    spelled = new.encode("utf-8", errors="replace").decode("latin-1")
    return text[: one.start()] + spelled + text[one.end() :]


def mutated_zip(whole: bytes, chance: Random) -> bytes:
    """Return a packed file with a part of it spoiled; or spoiled as it is."""
    if chance.random() < 0.2:
        return mutated_bytes(whole, chance)
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = chance.choice([*parts, "xl/worksheets/sheet1.xml", "xl/worksheets/sheet1.xml"])
    match chance.randrange(6):
        case 0:
            del parts[name]
        case 1:
            parts[name] = parts[name] * chance.choice((2, 300))
        case _:
            parts[name] = mutated_text(parts[name], chance)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for each, content in parts.items():
            archive.writestr(each, content)
    return buffer.getvalue()


def mutated_json(value: Any, chance: Random) -> Any:
    """Return a JSON value with one part, anywhere in it, replaced, taken out or nested."""
    path = value
    if isinstance(path, dict) and path and chance.random() < 0.93:
        key = chance.choice(sorted(path))
        match chance.randrange(14):
            case 0:
                return {name: each for name, each in path.items() if name != key}
            case 1:
                return path | {"stray": path[key]}
            case _:
                return path | {key: mutated_json(path[key], chance)}
    if isinstance(path, list) and path and chance.random() < 0.93:
        at = chance.randrange(len(path))
        match chance.randrange(10):
            case 0:
                return path[:at] + path[at + 1 :]
            case 1:
                return path + path[at:]
            case _:
                return [*path[:at], mutated_json(path[at], chance), *path[at + 1 :]]
    choices: list[Any] = [
        0, -1, 1, 1e308, -1e300, 1e-300, float("nan"), float("inf"), 10**30, 2**63, None, True, "",
        "x", "\ud800", "a" * 5000, [], {}, [[1.0], [2.0, 3.0]], 1e5, -1e5,
    ]  # fmt: skip
    if isinstance(path, int | float) and not isinstance(path, bool):
        choices += [path * factor for factor in (-1, 1e-6, 1e6, 1e12, 0.5, 2)] * 2
    return chance.choice(choices)


def mutated_words(whole: bytes, chance: Random) -> bytes:
    """Return a command line with a word replaced."""
    words = list(chance.choice(json.loads(whole)))
    for _ in range(chance.choice((1, 1, 2))):
        at = chance.randrange(len(words))
        new = chance.choice(NUMBERS + WORDS)
        found = re.search(r"\d[\d./ ]*", words[at])
        if found and chance.random() < 0.6:
            new = words[at][: found.start()] + new + words[at][found.end() :]
        words[at] = new
    return json.dumps(words).encode()
