"""What the dashboard was started with, and how a callback gets at it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from flask import current_app

from agent.config_notify import NotifySettings

CONFIG_KEY = "PEAKSHADE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """`terminal` is the one shown where an address names none; `speed` is that of the agent's clock.

    `ends_unix_s` is where a played day ends; `alarm` says when the page may ring.
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
    ends_unix_s: float | None = None
    alarm: NotifySettings = NotifySettings()
    rules: Path | None = None
    rules_folder: Path = Path()


def current_settings() -> Settings:
    """The settings of the app that serves this request."""
    return cast(Settings, current_app.config[CONFIG_KEY])
