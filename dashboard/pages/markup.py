"""Components as the HTML text that a browser needs no script for. Pure."""

import json
from collections.abc import Callable, Iterator, Mapping
from html import escape
from typing import Any

from dash import dcc
from dash.development.base_component import Component

_VOID = ("br", "hr", "img", "input")
_NAMES: Mapping[str, str] = {
    "className": "class",
    "htmlFor": "for",
    "maxLength": "maxlength",
    "autoComplete": "autocomplete",
    "data-inputmode": "inputmode",
}
# They hold data or the address in the browser's script and show nothing.
_UNSEEN = (dcc.Store, dcc.Location)
_NOT_HTML = ("children", "n_clicks", "debounce", "config", "figure", "style")


class Markup(str):
    """Text that is HTML already."""


def to_html(part: object) -> Markup:
    """The component, text or list of both; a key with a message for an id carries it as `data-tell`."""
    if part is None or isinstance(part, _UNSEEN):
        return Markup()
    if isinstance(part, Markup):
        return part
    if isinstance(part, (list, tuple)):
        return Markup("".join(map(to_html, part)))
    if not isinstance(part, Component):
        return Markup(escape(str(part)))
    described: Callable[[], dict[str, Any]] = part.to_plotly_json
    properties = described()["props"]
    # Room for what only the script can draw.
    name = "div" if isinstance(part, dcc.Graph) else described()["type"].lower()
    opening = f"<{name}{''.join(_attributes(properties))}>"
    return Markup(opening if name in _VOID else f"{opening}{to_html(properties.get('children'))}</{name}>")


def _attributes(properties: Mapping[str, object]) -> Iterator[str]:
    for name, value in properties.items():
        if name in _NOT_HTML or value is None or value is False:
            continue
        if name == "id" and isinstance(value, dict):
            yield f' data-tell="{escape(json.dumps(value))}"'
        elif value is True:
            yield f" {_NAMES.get(name, name)}"
        else:
            yield f' {_NAMES.get(name, name)}="{escape(str(value))}"'
