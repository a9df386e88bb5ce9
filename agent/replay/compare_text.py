"""Two rule sets on one day, side by side for the terminal window and as JSON. Pure."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from agent.records import JsonValue
from agent.replay.compare import Alert, Difference, says_the_same
from agent.replay.session_time import rfc3339_from_unix_s

WORDS = {
    "only-first": "not raised",
    "only-second": "new",
    "earlier": "earlier",
    "later": "later",
    "same": "",
}


def comparison_text(differences: Sequence[Difference], zone: ZoneInfo, names: tuple[str, str]) -> list[str]:
    """One line an alert that differs, with the counts of the rest; `names` are those of the two rule sets."""
    told = [one for one in differences if not says_the_same(one)]
    same = len(differences) - len(told)
    yes = f"{same} alert{'' if same == 1 else 's'} the same"
    if not told:
        return [f"  {yes}, nothing differs"]
    head = f"  {'rule':<15}{names[0][-26:]:<28}{names[1][-26:]:<28}what the second does"
    rows = [
        f"  {one.rule:<15}{_cell(one.first, zone):<28}{_cell(one.second, zone):<28}{_words(one)}"
        for one in told
    ]
    return [head, *(row.rstrip() for row in rows), f"  {yes}"]


def _cell(alert: Alert | None, zone: ZoneInfo) -> str:
    if alert is None:
        return "-"
    start = datetime.fromtimestamp(alert.start_unix_s, zone)
    if alert.end_unix_s is None:
        return f"{start:%H:%M:%S} to the end {alert.severity}"
    return f"{start:%H:%M:%S}-{datetime.fromtimestamp(alert.end_unix_s, zone):%H:%M:%S} {alert.severity}"


def _words(one: Difference) -> str:
    if one.first is None or one.second is None:
        return WORDS[one.kind]
    parts = []
    shift_s = abs(one.second.start_unix_s - one.first.start_unix_s)
    if shift_s:
        parts.append(f"{shift_s:.0f} s {WORDS[one.kind]}")
    if one.first.severity != one.second.severity:
        parts.append(f"{one.second.severity} instead of {one.first.severity}")
    return ", ".join(parts)


def comparison_json(differences: Iterable[Difference]) -> list[JsonValue]:
    """Every alert of the two, those that are the same too."""
    return [
        {
            "kind": one.kind,
            "rule": one.rule,
            "first": _alert_json(one.first),
            "second": _alert_json(one.second),
        }
        for one in differences
    ]


def _alert_json(alert: Alert | None) -> JsonValue:
    if alert is None:
        return None
    end = alert.end_unix_s
    return {
        "start": rfc3339_from_unix_s(alert.start_unix_s),
        "end": None if end is None else rfc3339_from_unix_s(end),
        "severity": alert.severity,
    }
