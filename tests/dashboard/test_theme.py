"""Contrast by the formulas of WCAG 2.2 (W3C Recommendation, 5 October 2023)."""

import pytest

from dashboard.theme import THEMES, Theme, style_sheet
from tests.dashboard.contrast import contrast_ratio

# Success criterion 1.4.6 (level AAA), text of any size.
ENHANCED_CONTRAST = 7.0
# Success criterion 1.4.11 (level AA), lines of a figure.
LINE_CONTRAST = 3.0
WRITTEN_ON = (
    ("ink", "paper"),
    ("ink", "sheet"),
    ("quiet_ink", "paper"),
    ("quiet_ink", "sheet"),
    ("button_ink", "button_ground"),
    *((f"{level}_ink", f"{level}_ground") for level in ("fine", "advise", "act", "urgent", "unknown")),
)


def test_formula_gives_the_published_ends() -> None:
    """WCAG 2.2, definition of contrast ratio: from 1 to 21."""
    assert contrast_ratio((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast_ratio((90, 12, 200), (90, 12, 200)) == 1.0


@pytest.mark.parametrize(("ink", "ground"), WRITTEN_ON)
@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_text_can_be_read_in_sunlight(theme: Theme, ink: str, ground: str) -> None:
    assert contrast_ratio(rgb(getattr(theme, ink)), rgb(getattr(theme, ground))) >= ENHANCED_CONTRAST


@pytest.mark.parametrize("line", ["measured", "second", "plan", "reference", "limit"])
@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_lines_stand_out_from_the_sheet(theme: Theme, line: str) -> None:
    assert contrast_ratio(rgb(getattr(theme, line)), rgb(theme.sheet)) >= LINE_CONTRAST


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_severities_keep_their_order_in_greyscale(theme: Theme) -> None:
    """Against the paper each severity stands out more than the one below it."""
    steps = [
        contrast_ratio(rgb(getattr(theme, f"{level}_ground")), rgb(theme.paper))
        for level in ("fine", "advise", "act", "urgent")
    ]
    assert steps == sorted(steps)


def test_every_colour_reaches_the_style_sheet() -> None:
    sheet = style_sheet()
    assert f'html[data-theme="day"] {{\n  --paper: {THEMES["day"].paper};' in sheet
    assert f"--button-ground: {THEMES['night'].button_ground};" in sheet


def rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
