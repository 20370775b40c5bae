"""The one kind of error that an operator sees."""


class Refusal(ValueError):
    """The input cannot be used; the message is one sentence an operator can act on.

    The sentence says what is wrong, where, and what to do. The command line
    prints it and exits with code 2. Programming errors are never refusals.
    """
