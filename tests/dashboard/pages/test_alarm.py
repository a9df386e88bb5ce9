"""The page rings as often as alerts are sent, and no more. Checked against the rules that send them."""

from dataclasses import replace
from datetime import time
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from agent.config_notify import NotifySettings, policy_of, reminded_s
from agent.notify import NotificationPolicy, Reminders
from agent.records import Severity
from dashboard.pages.alarm import Ringing, alarms
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SHADE, active

MADRID = ZoneInfo("Europe/Madrid")
# Half past one in the afternoon there.
QUIET_NOW = (time(13, 0), time(14, 0))
RAISED_UNIX_S = NOW_UNIX_S - 3.0


def ringing(after_s: float = 0.0, **settings: object) -> Ringing:
    return Ringing(NOW_UNIX_S + after_s, replace(NotifySettings(), **settings), MADRID, 1.0)  # type: ignore[arg-type]


def test_only_unseen_alerts_make_a_sound() -> None:
    alerts = (active(REPEAK), active(REPEAK, acknowledged=True), active(REPEAK, quiet_s=60.0))
    assert [alarm["beeps"] for alarm in alarms(alerts, ringing())] == [2]


@pytest.mark.parametrize("severity", ["act", "urgent"])
def test_it_rings_with_each_sending_and_never_more_often(severity: Severity) -> None:
    """Second by second for half an hour, beside the agent's own reminders."""
    alert = active(replace(REPEAK, unix_s=RAISED_UNIX_S, severity=severity))
    reminders = Reminders(reminded_s(NotifySettings(), 1.0))
    sent_s = [0.0]
    heard = {}
    for second in range(1800):
        if reminders.due([alert], NOW_UNIX_S + second):
            sent_s.append(second + 3.0)
        for one in alarms([alert], ringing(second)):
            heard.setdefault(one["id"], second + 3.0)
    rung_s = list(heard.values())
    assert len(rung_s) == len(sent_s)
    every_s = {"act": 300.0, "urgent": 120.0}[severity]
    assert [later - before for before, later in pairwise(rung_s[1:])] == [every_s] * (len(rung_s) - 2)


@pytest.mark.parametrize(
    ("severity", "settings"),
    [
        ("advise", {}),
        ("act", {"quiet": QUIET_NOW}),
        ("urgent", {"quiet": QUIET_NOW, "quiet_severity": None}),
        ("act", {"min_severity": "urgent"}),
        ("act", {}),
        ("urgent", {"quiet": QUIET_NOW}),
        ("advise", {"min_severity": "advise"}),
    ],
)
def test_it_rings_where_alerts_go_out_and_nowhere_else(
    severity: Severity, settings: dict[str, object]
) -> None:
    moment = ringing(**settings)
    event = replace(SHADE, severity=severity)
    policy = NotificationPolicy(policy_of(moment.settings, MADRID))
    policy.hear([event])
    assert bool(alarms([active(event)], moment)) == bool(policy.due(NOW_UNIX_S))
