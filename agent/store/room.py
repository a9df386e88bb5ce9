"""Whether, and how long, the disk of a store still takes what comes."""

import shutil
from pathlib import Path

from agent.records import Severity
from agent.store.opening import disk_refusal

# What five readings a second take before they are packed (tests/bench/month.py: 36 MB a day, its log 4 MB).
HOUR_BYTES = 4_000_000
DAY_BYTES = 24 * HOUR_BYTES


def room_left(store: Path) -> tuple[Severity | None, str]:
    """How urgent it is to see to the disk, None: not at all; and what is the matter, and to do."""
    refusal = disk_refusal(store)
    if refusal is not None:
        return "urgent", f"{store} {refusal}"
    free_bytes = shutil.disk_usage(store.resolve().parent).free
    text = f"{free_bytes / 1e6:.0f} MB free on the disk of {store}"
    if free_bytes < HOUR_BYTES:
        return "urgent", f"{text}, not enough for an hour: free some space"
    if free_bytes < DAY_BYTES:
        return "act", f"{text}, not enough for a day: free some space"
    return None, text
