"""The one error that reaches the user as a message instead of a traceback."""


class UsageError(Exception):
    """The user can mend it: the message says what, where, got, expected and what to do. Exit code 2."""
