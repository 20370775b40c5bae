"""Command lines that an ordinary parser would misread: `--raised 10mm PHOTO…`, `-100mm`."""

from __future__ import annotations

import re
from typing import Any

from typer.core import TyperCommand

from calibration.refusal import Refusal

RAISED = "--raised"
SPACER = "spacer for the camera"

_FILE = re.compile(r".*\.[A-Za-z]\w+$")
"""A file's name with its ending, which no length has."""

_NEGATIVE = re.compile(r"-\s*[\d.,¼½¾⅛⅜⅝⅞]")


class _Sorted(TyperCommand):
    """A command whose words are told apart before they are parsed.

    Options may stand anywhere, and whatever begins with a minus and a digit is a
    value, never an option. (Typer carries its own click since 0.20 and used the
    separate package before: `Any` stands for either's context.)
    """

    def sorted_words(self, arguments: list[str]) -> tuple[list[str], list[str]]:
        """Return the option words and the other words, each in their order."""
        flags = {
            name: bool(getattr(parameter, "is_flag", False))
            for parameter in self.params
            for name in (*parameter.opts, *parameter.secondary_opts)
        } | {"--help": True}
        options: list[str] = []
        words: list[str] = []
        rest = iter(arguments)
        for word in rest:
            if word == "--":
                words.extend(rest)
            elif not word.startswith("-") or word == "-" or _NEGATIVE.match(word):
                words.append(word)
            else:
                options.append(word)
                value = None
                if "=" not in word and not flags.get(word, True):
                    value = next(rest, None)
                if value is not None:
                    options.append(value)
        return options, words


class Signed(_Sorted):
    """A command whose values may be negative: ``aim -100mm 50mm``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse with the plain words at the end, after a double dash."""
        options, words = self.sorted_words(args)
        return super().parse_args(ctx, [*options, "--", *words] if words else options)


class WithRaised(_Sorted):
    """A command of photos: those after ``--raised HEIGHT`` show cards at that height.

    The height of each photo is left in ``ctx.meta[RAISED]``, as typed; it is "0" for
    photos before the first ``--raised``. Where a camera takes the photos, a height that
    none follows is left in ``ctx.meta[SPACER]``; elsewhere it is refused.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse, and note which photos follow which height."""
        heights: list[str] = []
        photos: list[str] = []
        plain: list[str] = []
        segment: list[str] = []
        current = "0"
        rest = iter(args)

        def close() -> None:
            options, words = self.sorted_words(segment)
            plain.extend(options)
            photos.extend(words)
            heights.extend([current] * len(words))
            segment.clear()

        for word in rest:
            if word == RAISED or word.startswith(f"{RAISED}="):
                close()
                current = word.partition("=")[2] or next(rest, "")
                if _FILE.match(current):
                    raise Refusal(
                        f"{RAISED} wants a height and then photos: {RAISED} 10mm {current}."
                    )
                if not current or current.startswith("--"):
                    raise Refusal(f"{RAISED} needs a height, such as {RAISED} 10mm.")
            else:
                segment.append(word)
        close()
        ctx.meta[SPACER] = current if current not in heights else "0"
        takes_photos = any(word.partition("=")[0] == "--camera" for word in plain)
        if ctx.meta[SPACER] != "0" and not takes_photos and "--help" not in plain:
            raise Refusal(f"No photo follows {RAISED} {current}: name the raised photos after it.")
        ctx.meta[RAISED] = tuple(heights)
        return super().parse_args(ctx, [*plain, "--", *photos] if photos else plain)
