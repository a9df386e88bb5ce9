"""Contrast ratio by WCAG 2.2, written from its definitions of relative luminance and contrast ratio."""

Rgb = tuple[float, float, float]


def contrast_ratio(one: Rgb, other: Rgb) -> float:
    """1 (the same) to 21 (black on white); channels 0 to 255."""
    darker, lighter = sorted((_relative_luminance(one), _relative_luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def _relative_luminance(rgb: Rgb) -> float:
    red, green, blue = (_linear(channel / 255.0) for channel in rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)
