"""What the dashboard was started with, and how a callback gets at it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from flask import current_app

from agent.config_notify import NotifySettings
from agent.store.place import Place

CONFIG_KEY = "PEAKSHADE"
# The agent writes every five seconds, the page asks every three; twice both is a loss, not a hiccup.
SILENT_AFTER_S = 16.0
# What a terminal forwards comes every minute, over a link and a broker that may need a second try.
DESK_SILENT_AFTER_S = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """`terminal` is the one shown where an address names none; `speed` is that of the agent's clock.

    `ends_unix_s` is where a played day ends; `alarm` says when the page may ring.
    `desk`: the store is that of many terminals, to which nothing can be said from here; `silent_after_s`: so
    long may a terminal say nothing.
    `rules` is the rules file in force (None: the defaults); accepted ones are written to `rules_folder`.
    """

    store: Place
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
    desk: bool = False
    silent_after_s: float = SILENT_AFTER_S


def own_store(settings: Settings) -> Path:
    """The terminal's own store, beside which files are put; a desk has none."""
    if not isinstance(settings.store, Path):
        raise TypeError("a desk's pages put no files anywhere")
    return settings.store


def current_settings() -> Settings:
    """The settings of the app that serves this request."""
    return cast(Settings, current_app.config[CONFIG_KEY])
