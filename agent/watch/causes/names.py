"""Decides what may take signal from a link: the causes by name."""

from typing import Literal

LossCause = Literal[
    "clear", "mispoint", "rain", "reflector", "cloud", "blockage", "interference", "satellite", "drift"
]
LOSS_CAUSES: tuple[LossCause, ...] = (
    "clear", "mispoint", "rain", "reflector", "cloud", "blockage", "interference", "satellite", "drift",
)  # fmt: skip
