"""What was typed: the parameters that were said, and a sentence where it cannot be understood."""

from __future__ import annotations

import re
from typing import Any


def usage_words(error: Exception) -> str:
    """Return what is wrong with a command line, and what to type instead.

    Parameters
    ----------
    error : Exception
        What the command-line library raised; its context and parameter are read if there.
    """
    context: Any = getattr(error, "ctx", None)
    said: str = getattr(error, "format_message", lambda: str(error))().rstrip(".")
    if said.startswith("Usage:"):  # a group of commands by itself: its list is the answer
        return said
    if context is None:
        return f"chalkbeam: {said or 'stopped'}."
    path = str(context.command_path)
    said = _plainly(said)
    missing: Any = getattr(error, "param", None)
    if missing is None or not said.startswith("Missing"):
        return f"chalkbeam: {said}: `{path} --help` lists what can be written."
    usual = " ".join([path, *(_as_typed(each) for each in context.command.params if each.required)])
    what = _called(missing)
    return f"chalkbeam: {what} is missing: type `{usual}`; `{path} --help` says more."


_LIBRARYS = (
    (r"^Invalid value for '([^']+)': ", r"\1: "),
    (r"Value error, ", ""),
    (r"Input should be a valid number, unable to parse string as a number", "that is no number"),
    (r"Input should be a valid integer, unable to parse string as an integer",
     "that is no whole number"),
)  # fmt: skip
"""What the command-line library says, and how people say it."""


def _plainly(said: str) -> str:
    """Return a complaint without programmers' words and quotation marks."""
    for technical, plain in _LIBRARYS:
        said = re.sub(technical, plain, said)
    chosen = re.fullmatch(r"(.*: )'([^']*)' is not one of (.*)", said)
    if chosen is None:
        return said
    return f"{chosen[1]}“{chosen[2]}” is not one of {chosen[3].replace(chr(39), '')}"


def _is_option(parameter: Any) -> bool:
    return bool(parameter.param_type_name == "option")


def _called(parameter: Any) -> str:
    """Return a parameter's name for the head of a sentence."""
    if _is_option(parameter):
        return f"The option {parameter.opts[-1]}"
    return f"The {_word(parameter).lower().replace('_', ' ').replace('-', ' ')}"


def _word(parameter: Any) -> str:
    """Return what stands for an argument in the help: a stated word, or its name."""
    stated = str(parameter.metavar or "")
    return stated if re.fullmatch(r"[A-Z-]+", stated) else str(parameter.name)


def _as_typed(parameter: Any) -> str:
    """Return how a parameter is written, its value in capitals."""
    name = _word(parameter).upper()
    return f"{parameter.opts[-1]} {name}" if _is_option(parameter) else name


def said_of(context: Any) -> frozenset[str]:
    """Return the parameters that were said in a command; the others have their defaults."""
    said = ("COMMANDLINE", "ENVIRONMENT")
    return frozenset(
        parameter.name
        for parameter in context.command.params
        if context.get_parameter_source(parameter.name).name in said
    )
