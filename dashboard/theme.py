"""Colours of the pages and of the figures, once for both.

Severity grows darker from fine to urgent, so that a greyscale print or a glaring screen keeps the order. Text
on its ground keeps a contrast of at least 7:1 (WCAG 2.2, success criterion 1.4.6); a test computes it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

FONT_STACK = "system-ui, 'DejaVu Sans', 'Liberation Sans', sans-serif"


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Grounds, inks and line colours. A `*_ground` is written on with the `*_ink` of the same name."""

    paper: str
    ink: str
    sheet: str
    quiet_ink: str
    rule: str
    fine_ground: str
    fine_ink: str
    advise_ground: str
    advise_ink: str
    act_ground: str
    act_ink: str
    urgent_ground: str
    urgent_ink: str
    unknown_ground: str
    unknown_ink: str
    button_ground: str
    button_ink: str
    measured: str
    second: str
    plan: str
    reference: str
    limit: str
    band: str


DAY = Theme(
    paper="#f6efdf",
    ink="#1d1812",
    sheet="#fdf9ef",
    quiet_ink="#4a4136",
    rule="#a99c84",
    fine_ground="#e3ead9",
    fine_ink="#1b2416",
    advise_ground="#f0d58c",
    advise_ink="#241a04",
    act_ground="#74330f",
    act_ink="#fff6e6",
    urgent_ground="#1c0d16",
    urgent_ink="#fff3e2",
    unknown_ground="#e4ded0",
    unknown_ink="#241f18",
    button_ground="#27414f",
    button_ink="#fdf9ef",
    measured="#163f5c",
    second="#7a3f86",
    plan="#6b5f4c",
    reference="#94571a",
    limit="#8c1c1c",
    band="rgba(143, 122, 84, 0.22)",
)

NIGHT = Theme(
    paper="#14110d",
    ink="#f1e6d0",
    sheet="#1e1a14",
    quiet_ink="#cdbfa6",
    rule="#5d523f",
    fine_ground="#1d2a1c",
    fine_ink="#e2efd8",
    advise_ground="#4a3a0c",
    advise_ink="#ffeec0",
    act_ground="#e8a66f",
    act_ink="#241203",
    urgent_ground="#ffe9d6",
    urgent_ink="#2a0a12",
    unknown_ground="#2c2822",
    unknown_ink="#ece3d3",
    button_ground="#bcd3df",
    button_ink="#10202a",
    measured="#9ed0ee",
    second="#dcb0e6",
    plan="#b8aa90",
    reference="#f0b878",
    limit="#ff9b8e",
    band="rgba(210, 190, 150, 0.16)",
)

THEMES: Mapping[str, Theme] = {"day": DAY, "night": NIGHT}


def style_sheet() -> str:
    """The colours as CSS custom properties: `--paper` for `paper` and so on, by the page's theme."""
    return "\n".join(
        f'html[data-theme="{name}"] {{\n{_properties(theme)}\n}}' for name, theme in THEMES.items()
    )


def _properties(theme: Theme) -> str:
    return "\n".join(
        f"  --{field.name.replace('_', '-')}: {getattr(theme, field.name)};" for field in fields(theme)
    )
