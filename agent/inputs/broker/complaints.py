"""What clients do wrong, for the log: of each kind once a minute, or one in a loop would fill the disk."""

import logging
import time
from collections import Counter

LOG = logging.getLogger(__name__)

EVERY_S = 60.0


class Complaints:
    """One broker's."""

    def __init__(self) -> None:
        self._said_s: dict[str, float] = {}
        self._unsaid: Counter[str] = Counter()

    def say(self, form: str, *words: object) -> None:
        """A sentence with %s for what differs; with how many like it were not said since the last."""
        now_s = time.monotonic()
        if now_s - self._said_s.get(form, -EVERY_S) < EVERY_S:
            self._unsaid[form] += 1
            return
        self._said_s[form] = now_s
        unsaid = self._unsaid.pop(form, 0)
        LOG.warning("%s%s", form % words, f"; {unsaid} more like it before" if unsaid else "")
