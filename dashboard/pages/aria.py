"""Attributes whose names have a hyphen, which the component classes take only after the fact."""

from collections.abc import Mapping, Sequence
from typing import TypeVar

from dash import html
from dash.development.base_component import Component

AnyComponent = TypeVar("AnyComponent", bound=Component)

HIDDEN: Mapping[str, str] = {"aria-hidden": "true"}


def with_attributes(component: AnyComponent, attributes: Mapping[str, str]) -> AnyComponent:
    """The same component with the `aria-*` or `data-*` attributes set."""
    for name, value in attributes.items():
        setattr(component, name, value)
    return component


def key_group(keys: Sequence[Component], label: str) -> html.Div:
    """Buttons that belong together, with the name of their group for a screen reader."""
    return with_attributes(html.Div(list(keys), className="keys small", role="group"), {"aria-label": label})
