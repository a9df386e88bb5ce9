"""[notify]: how alerts reach people besides MQTT."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from annotated_types import Interval, MaxLen, MinLen

from agent.config_check import Findings, read_section
from agent.notify import PolicySettings
from agent.records import Severity

REPEAT_S = 1800.0
# Long enough to walk to the dish and back; what is urgent cannot wait for that.
REMIND_ACT_S = 300.0
REMIND_URGENT_S = 120.0
Seconds = Annotated[float, Interval(ge=0.0, le=86_400.0)]
Word = Annotated[str, MinLen(1), MaxLen(4096)]
ClockTime = Annotated[str, MinLen(5), MaxLen(5)]


@dataclass(frozen=True, slots=True, kw_only=True)
class NotifySection:
    """[notify] as written; the quiet hours are times of the site, "22:00"."""

    min_severity: Severity = "act"
    quiet_from: ClockTime | None = None
    quiet_to: ClockTime | None = None
    quiet_severity: Severity | Literal["none"] = "urgent"
    repeat_s: Seconds = REPEAT_S
    remind_act_s: Seconds = REMIND_ACT_S
    remind_urgent_s: Seconds = REMIND_URGENT_S
    cleared: bool = False
    command: list[Word] | None = None
    urls_file: Word | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotifySettings:
    """The same, checked. `urls_file` has an address of apprise on each line, which hold secrets."""

    min_severity: Severity = "act"
    quiet: tuple[time, time] | None = None
    quiet_severity: Severity | None = "urgent"
    repeat_s: float = REPEAT_S
    remind_act_s: float = REMIND_ACT_S
    remind_urgent_s: float = REMIND_URGENT_S
    cleared: bool = False
    command: tuple[str, ...] = ()
    urls_file: Path | None = None


def policy_of(settings: NotifySettings, zone: ZoneInfo) -> PolicySettings:
    """What goes out to people at this site."""
    return PolicySettings(
        zone=zone,
        min_severity=settings.min_severity,
        quiet=settings.quiet,
        quiet_severity=settings.quiet_severity,
        repeat_s=settings.repeat_s,
        cleared=settings.cleared,
    )


def reminded_s(settings: NotifySettings, speed: float) -> Mapping[Severity, float]:
    """How often what nobody has seen is said again (s); people do not hurry when a day is played fast."""
    return {"act": settings.remind_act_s * speed, "urgent": settings.remind_urgent_s * speed}


def read_notify(values: Mapping[str, object], folder: Path, findings: Findings) -> NotifySettings | None:
    """The section as settings; None with what is wrong noted in `findings`."""
    section = read_section(NotifySection, "notify", values, findings)
    if section is None:
        return None
    before = len(findings.lines)
    start, end = (
        _clock_time(key, text, findings)
        for key, text in (("quiet_from", section.quiet_from), ("quiet_to", section.quiet_to))
    )
    if (section.quiet_from is None) != (section.quiet_to is None):
        key = "quiet_from" if section.quiet_from is None else "quiet_to"
        findings.missing("notify", key, 'a time of the site such as "22:00", with its counterpart')
    if section.command == []:
        findings.add("notify", "command", [], 'a program and its arguments such as ["/usr/local/bin/tell"]')
    urls_file = None if section.urls_file is None else folder / section.urls_file
    if urls_file is not None and not urls_file.is_file():
        findings.add(
            "notify", "urls_file", section.urls_file, "a file with an address of apprise on each line"
        )
    if len(findings.lines) > before:
        return None
    return NotifySettings(
        min_severity=section.min_severity,
        quiet=None if start is None or end is None else (start, end),
        quiet_severity=None if section.quiet_severity == "none" else section.quiet_severity,
        repeat_s=section.repeat_s,
        remind_act_s=section.remind_act_s,
        remind_urgent_s=section.remind_urgent_s,
        cleared=section.cleared,
        command=tuple(section.command or ()),
        urls_file=urls_file,
    )


def _clock_time(key: str, text: str | None, findings: Findings) -> time | None:
    if text is None:
        return None
    try:
        return time.fromisoformat(text)
    except ValueError:
        findings.add("notify", key, text, 'a time of the site such as "22:00"')
        return None
