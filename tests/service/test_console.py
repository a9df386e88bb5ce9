"""What stands in the window of a running agent: its log and its alerts, by one clock."""

import os
import subprocess
import sys

LOGGED = """
import logging
from zoneinfo import ZoneInfo
from agent.records import AlertEvent
from agent.service.console import event_printer, log_to_terminal

NOW, ZONE = 1784361605.0, "Asia/Kolkata"
log_to_terminal(ZONE, lambda: NOW)
logging.getLogger("agent.inputs").info("the broker answers")
logging.getLogger("library").info("not for the crew")
logging.getLogger("library").warning("for the crew")
event_printer(ZONE)([AlertEvent(
    unix_s=NOW, rule="wait-rain", severity="advise", state="raised", cause="rain", action="Wait", evidence=(),
    deadline_unix_s=None, figures={}
)])
"""


def test_the_log_has_the_clock_of_the_alerts() -> None:
    """08:00:05 UTC is 13:30:05 in Kolkata (IANA time zone database: +05:30, no summer time).

    The clock is the one that is given, as when a recorded day is played, and no computer's.
    """
    elsewhere = os.environ | {"TZ": "America/Lima"}
    done = subprocess.run(
        [sys.executable, "-c", LOGGED], capture_output=True, text=True, check=True, env=elsewhere
    )
    assert done.stderr.splitlines() == [
        "13:30:05  INFO the broker answers",
        "13:30:05  WARNING for the crew",
    ]
    assert done.stdout.startswith("13:30:05  ") and len(done.stdout.splitlines()) == 1
