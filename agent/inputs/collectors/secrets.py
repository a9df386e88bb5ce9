"""Credentials of inputs: the config names an environment variable, never the secret itself."""

from agent.inputs.collectors.registry import Around


def secret_of(key: str, variable: str | None, around: Around) -> str | None:
    """The value of an environment variable; None where none is named, or with a note where it is not set."""
    if variable is None:
        return None
    value = around.environ.get(variable)
    if not value:
        around.findings.missing(
            around.section, key, f"an environment variable that is set; {variable} is not"
        )
        return None
    return value
