"""What the dashboard was started with, and how a callback gets at it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from flask import current_app

CONFIG_KEY = "PEAKSHADE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """`terminal` is the one shown where an address names none; `speed` is that of the agent's clock.

    `rules` is the rules file in force (None: the defaults); accepted ones are written to `rules_folder`.
    """

    store: Path
    mqtt_host: str
    mqtt_port: int
    mqtt_username: str | None = None
    mqtt_password: str | None = field(default=None, repr=False)
    mqtt_tls: bool = False
    mqtt_ca_file: Path | None = None
    terminal: str | None = None
    speed: float = 1.0
    rules: Path | None = None
    rules_folder: Path = Path()


def current_settings() -> Settings:
    """The settings of the app that serves this request."""
    return cast(Settings, current_app.config[CONFIG_KEY])
