"""Two rule sets on one day, side by side for the terminal window and as JSON. Pure."""

from collections.abc import Iterable, Sequence
from math import inf

from agent.records import JsonValue
from agent.replay.compare import Alert, Difference, says_the_same
from agent.replay.labels import Label
from agent.replay.scoring import TARGETS, Interval, window
from agent.replay.session_time import SiteClock, rfc3339_from_unix_s

CELL_CHARACTERS = 29


def comparison_text(
    differences: Sequence[Difference],
    clock: SiteClock,
    names: tuple[str, str],
    labels: Sequence[Label] | None = None,
) -> list[str]:
    """One line an alert that differs, and how many are the same; `names` are those of the two rule sets.

    With `labels` it says of an alert that only one of the two raised whether it was right.
    """
    told = [one for one in differences if not says_the_same(one)]
    same = len(differences) - len(told)
    yes = f"{same} alert{'' if same == 1 else 's'} the same"
    if not told:
        return [f"  {yes}, nothing differs"]
    rows = [("rule", *(name[1 - CELL_CHARACTERS :] for name in names), "what the second does")]
    rows += [
        (one.rule, _cell(one.first, clock), _cell(one.second, clock), _words(one, labels)) for one in told
    ]
    width = max(CELL_CHARACTERS, *(len(cell) + 2 for row in rows for cell in row[1:3]))
    lines = (f"  {rule:<15}{first:<{width}}{second:<{width}}{words}" for rule, first, second, words in rows)
    return [*lines, f"  {yes}"]


def _cell(alert: Alert | None, clock: SiteClock) -> str:
    if alert is None:
        return "-"
    start = clock.text(alert.start_unix_s)
    if alert.end_unix_s is None:
        return f"{start} to the end {alert.severity}"
    return f"{start}{' - ' if clock.dated else '-'}{clock.text(alert.end_unix_s)} {alert.severity}"


def _words(one: Difference, labels: Sequence[Label] | None) -> str:
    if one.first is None or one.second is None:
        alert, words = (one.second, "raised anew") if one.first is None else (one.first, "not raised")
        return words if alert is None else words + _judged(alert, labels)
    parts = []
    shift_s = abs(one.second.start_unix_s - one.first.start_unix_s)
    if shift_s:
        parts.append(f"{shift_s:.0f} s {one.kind}")
    if one.first.severity != one.second.severity:
        parts.append(f"{one.second.severity} instead of {one.first.severity}")
    return ", ".join(parts)


def _judged(alert: Alert, labels: Sequence[Label] | None) -> str:
    target = TARGETS.get(alert.rule)
    if target is None or labels is None:
        return ""
    end_unix_s = inf if alert.end_unix_s is None else alert.end_unix_s
    stood = Interval(alert.start_unix_s, end_unix_s)
    right = any(label.cause == target.cause and stood.meets(window(target, label)) for label in labels)
    return f": {target.cause} was labelled" if right else ": a false alarm by the labels"


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
