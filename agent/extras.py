"""Optional libraries: which extra of the package brings each one, and the line that installs it."""

import importlib
from collections.abc import Mapping
from types import ModuleType

from agent.errors import UsageError

# By the name that is imported; pyproject.toml has the distributions, and a test compares the two.
EXTRA_OF: Mapping[str, str] = {
    "itur": "plan",
    "pandas": "plan",
    "pvlib": "plan",
    "pygeomag": "plan",
    "cheroot": "dashboard",
    "dash": "dashboard",
    "flask": "dashboard",
    "itsdangerous": "dashboard",
    "markupsafe": "dashboard",
    "plotly": "dashboard",
    "segno": "dashboard",
    "jinja2": "report",
    "pyarrow": "report",
    "weasyprint": "report",
    "gufo": "devices",
    "h11": "devices",
    "jsonpointer": "devices",
    "serial": "devices",
    "apprise": "notify",
    "distributed": "cluster",
    "psycopg": "desk",
    "psycopg_pool": "desk",
}


def module_with_extra(name: str, what: str) -> ModuleType:
    """The module `name`; raises UsageError with the line to type where it needs a library of an extra."""
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError as error:
        library = (error.name or "").partition(".")[0]
        if library not in EXTRA_OF:
            raise
        raise UsageError(f"{what} needs the library {library}; {install_line(library)}") from None


def install_line(library: str) -> str:
    """What to type for a library of EXTRA_OF."""
    return f"install it: pip install 'peakshade[{EXTRA_OF[library]}]'"
