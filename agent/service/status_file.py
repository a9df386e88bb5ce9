"""The agent's state as a file beside the store, for programs that do not ask the broker."""

import json
import logging
import os
from pathlib import Path

from agent.inputs.messages import OFFLINE

LOG = logging.getLogger(__name__)


def status_path(store: Path) -> Path:
    """Where the agent with this store says how it fares."""
    return store.with_name(f"{store.name}.status.json")


def has_ended(store: Path) -> bool:
    """Whether the agent with this store said as its last word that it ends; a power cut may have torn it."""
    try:
        return bool(json.loads(status_path(store).read_bytes())["state"] == OFFLINE)
    except (FileNotFoundError, ValueError, LookupError, TypeError):
        return False


def write_status(store: Path, message: bytes) -> None:
    """Replace the file, at once or not at all; where the disk does not take it, only the log says so."""
    path = status_path(store)
    fresh = path.with_name(f"{path.name}.new")
    try:
        fresh.write_bytes(message)
        os.replace(fresh, path)
    except OSError as error:
        LOG.warning("%s cannot be written: %s", path, error)
