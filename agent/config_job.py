"""Reads the job out of a parsed config: the sections that say what is to be done, where and when."""

import re
import zoneinfo
from collections.abc import Mapping
from datetime import datetime
from difflib import get_close_matches

from typing_extensions import TypeForm

from agent.config_check import Findings, known_fields, read_section, read_value, report_unknown
from agent.errors import UsageError
from agent.job import (
    Antenna,
    Day,
    Downlink,
    Hub,
    Job,
    Modem,
    Receiver,
    Satellite,
    Service,
    Site,
    Transmitter,
    Uplink,
)
from agent.plan.modcod import BY_STANDARD

# A job is a day or a few. A longer one is a wrong month or year, and its plan would take minutes.
LONGEST_JOB_S = 31 * 86_400.0
TERMINAL_PATTERN = re.compile(r"[a-z0-9-]{1,32}")
RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)")
RFC_3339_ALLOWED = 'a time like "2026-07-18T09:00:00+02:00" (RFC 3339, with its offset from UTC)'


JOB_SECTIONS = {
    "site": Site,
    "satellite": Satellite,
    "downlink": Downlink,
    "uplink": Uplink,
    "antenna": Antenna,
    "receiver": Receiver,
    "transmitter": Transmitter,
    "modem": Modem,
    "service": Service,
}
OPTIONAL_JOB_SECTIONS = {"hub": Hub}
# Sections that `agent.config` reads, and keys that stand before the first section.
OTHER_SECTIONS = ("broker", "store", "dashboard", "clock", "notify", "forward", "inputs")
TOP_LEVEL_KEYS = ("terminal", "rules")
HUB_KEYS = (
    ("uplink_eirp_dbw", "uplink_frequency_ghz", "satellite_gt_dbk"),
    ("satellite_eirp_dbw", "downlink_frequency_ghz", "gt_dbk"),
    ("latitude_deg", "longitude_deg"),
)
DAY_TIMES = {"start": "start_unix_s", "end": "end_unix_s"}


def job_from_mapping(tree: Mapping[str, object], name: str) -> Job:
    """The job in a parsed config; `name` stands in the messages. Raises UsageError like `load_config`."""
    findings = Findings(name)
    job = read_job(tree, findings)
    if findings.lines or job is None:
        raise UsageError("\n".join(findings.lines))
    return job


def unix_s_from_rfc3339(text: str) -> float | None:
    """Unix seconds of an RFC 3339 time with its offset; None where the text is not one."""
    if not RFC_3339.fullmatch(text):
        return None
    try:
        return datetime.fromisoformat(text.upper()).timestamp()
    except ValueError:
        return None


def table(tree: Mapping[str, object], name: str) -> Mapping[str, object]:
    """The section `name`; empty where it is absent or no section, which `read_job` reports."""
    values = tree.get(name, {})
    return values if isinstance(values, dict) else {}


def read_job(tree: Mapping[str, object], findings: Findings) -> Job | None:
    """The job, or None with every wrong, missing and unknown key noted in `findings`."""
    top_level = [*TOP_LEVEL_KEYS, *JOB_SECTIONS, "day", *OPTIONAL_JOB_SECTIONS, *OTHER_SECTIONS]
    kinds = {**JOB_SECTIONS, **{name: kind for name, kind in OPTIONAL_JOB_SECTIONS.items() if name in tree}}
    report_unknown("", tree, top_level, findings)
    terminal = _read_terminal(tree, findings)
    sections: dict[str, object] = {}
    for name in (*kinds, "day", *OTHER_SECTIONS):
        if name in tree and not isinstance(tree[name], dict):
            findings.add("", name, tree[name], f"a section [{name}] with its keys below it")
        elif name not in tree and name not in OTHER_SECTIONS:
            findings.missing("", name, f"a section [{name}] with {', '.join(_keys(name))}")
        elif name in kinds:
            sections[name] = read_section(kinds[name], name, table(tree, name), findings)
        elif name == "day":
            sections[name] = _read_day(table(tree, name), findings)
    zone = _check_time_zone(table(tree, "site"), findings)
    if zone is not None:
        _check_offsets(zone, table(tree, "day"), findings)
    if "antenna" in tree:
        _check_gains(table(tree, "antenna"), findings)
    _check_obstructions(table(tree, "site"), findings)
    _check_hub(table(tree, "hub"), findings)
    _check_highest(tree, findings)
    if findings.lines or terminal is None:
        return None
    return Job(terminal=terminal, **sections)  # type: ignore[arg-type]


def _keys(section: str) -> list[str]:
    if section == "day":
        return list(DAY_TIMES)
    return list(known_fields(JOB_SECTIONS[section]))


def _read_terminal(tree: Mapping[str, object], findings: Findings) -> str | None:
    allowed = 'a name like "van-1": 1 to 32 of the characters a-z, 0-9 and -'
    if "terminal" not in tree:
        findings.missing("", "terminal", allowed)
        return None
    terminal = tree["terminal"]
    if isinstance(terminal, str) and TERMINAL_PATTERN.fullmatch(terminal):
        return terminal
    findings.add("", "terminal", terminal, allowed)
    return None


def _read_day(values: Mapping[str, object], findings: Findings) -> Day | None:
    times: dict[str, object] = {}
    known = [*DAY_TIMES, *(name for name in known_fields(Day) if name not in DAY_TIMES.values())]
    report_unknown("day", values, known, findings)
    for key, name in DAY_TIMES.items():
        if key not in values:
            findings.missing("day", key, RFC_3339_ALLOWED)
        else:
            times[name] = _read_time(key, values[key], findings)
    if len(times) < len(DAY_TIMES) or None in times.values():
        return None
    others = {key: value for key, value in values.items() if key in known and key not in DAY_TIMES}
    day = read_section(Day, "day", times | others, findings)
    if day is not None and day.end_unix_s <= day.start_unix_s:
        findings.add("day", "end", values["end"], f"a time after day.start ({values['start']})", "swapped?")
    elif day is not None and day.end_unix_s - day.start_unix_s > LONGEST_JOB_S:
        findings.add("day", "end", values["end"], "at most 31 days after day.start", "wrong month or year?")
    return day


def _read_time(key: str, value: object, findings: Findings) -> float | None:
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.timestamp()
    unix_s = unix_s_from_rfc3339(value) if isinstance(value, str) else None
    if unix_s is None:
        text = value.isoformat() if isinstance(value, datetime) else value
        naive = isinstance(text, str) and re.fullmatch(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?", text)
        slip = "the offset from UTC is missing: append +02:00, say, or Z for UTC" if naive else None
        findings.add("day", key, text, RFC_3339_ALLOWED, slip)
    return unix_s


def _check_offsets(zone: zoneinfo.ZoneInfo, day: Mapping[str, object], findings: Findings) -> None:
    """The offset of a time is UTC's or that which the site's zone has then, or one of the two is a slip."""
    for key in DAY_TIMES:
        value = day.get(key)
        if isinstance(value, str) and unix_s_from_rfc3339(value) is not None:
            value = datetime.fromisoformat(value.upper())
        offset = value.utcoffset() if isinstance(value, datetime) else None
        if not offset or not isinstance(value, datetime):
            continue
        local = value.astimezone(zone)
        if local.utcoffset() != offset:
            allowed = f"an offset of {local.isoformat()[-6:]}, as {zone} has then, or Z for UTC"
            findings.add("day", key, value.isoformat(), allowed, "wrong offset or wrong time zone?")


def _check_time_zone(site: Mapping[str, object], findings: Findings) -> zoneinfo.ZoneInfo | None:
    name = site.get("time_zone")
    if not isinstance(name, str):
        return None
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        close = get_close_matches(name, zoneinfo.available_timezones(), n=1)
        slip = f"did you mean {close[0]}?" if close else None
        findings.add("site", "time_zone", name, 'an IANA time zone name like "Europe/Madrid"', slip)
        return None


def _check_gains(antenna: Mapping[str, object], findings: Findings) -> None:
    gains = [antenna.get(key) is not None for key in ("receive_gain_dbi", "transmit_gain_dbi")]
    efficiency = antenna.get("efficiency")
    allowed = "either efficiency, or both receive_gain_dbi and transmit_gain_dbi"
    if efficiency is not None and any(gains):
        findings.add("antenna", "efficiency", efficiency, allowed, "leave out one of the two")
    elif efficiency is None and not all(gains):
        findings.missing("antenna", "efficiency", allowed)


def _check_obstructions(site: Mapping[str, object], findings: Findings) -> None:
    """Each is a pair: an azimuth, and an elevation up to the zenith."""
    pairs = site.get("obstructions")
    for pair in pairs if isinstance(pairs, list) else []:
        if isinstance(pair, list) and (len(pair) != 2 or not 0.0 <= pair[0] or not -5.0 <= pair[1] <= 90.0):
            allowed = "pairs [azimuth from 0 to 360, elevation from -5 to 90], in degrees"
            findings.add("site", "obstructions", pair, allowed, "azimuth and elevation swapped?")


def _check_hub(hub: Mapping[str, object], findings: Findings) -> None:
    """What belongs together stands together."""
    for keys in HUB_KEYS:
        missing = [key for key in keys if key not in hub]
        if missing and len(missing) < len(keys):
            findings.missing("hub", missing[0], f"all of {', '.join(keys)}, or none of them")


def _check_highest(tree: Mapping[str, object], findings: Findings) -> None:
    """The highest MODCOD is one of its carrier's standard."""
    modem_standard = table(tree, "modem").get("standard")
    for section in ("downlink", "uplink"):
        carrier = table(tree, section)
        standard = carrier.get("standard", modem_standard) if section == "uplink" else modem_standard
        names = [one.name for known, modcods in BY_STANDARD.items() if known == standard for one in modcods]
        highest = carrier.get("highest_modcod")
        if isinstance(highest, str) and names and highest not in names:
            close = get_close_matches(highest, names, n=1)
            slip = f"did you mean {close[0]}?" if close else None
            allowed = f"a MODCOD of {standard} like {names[0]} or {names[-1]}"
            findings.add(section, "highest_modcod", highest, allowed, slip)


def field_hint(section: str, key: str) -> TypeForm[object]:
    """The annotated type of a job setting; text for one that is not known."""
    kind = {**JOB_SECTIONS, **OPTIONAL_JOB_SECTIONS, "day": Day}.get(section)
    return known_fields(kind).get(key, str) if kind is not None else str


def check_setting(section: str, key: str, value: object, findings: Findings) -> None:
    """Note in `findings` what is wrong with the value of one job setting, seen by itself."""
    if section == "day" and key in DAY_TIMES:
        _read_time(key, value, findings)
    elif not section:
        _read_terminal({key: value}, findings)
    else:
        read_value(field_hint(section, key), section, key, {key: value}, findings)
        _check_time_zone({key: value}, findings)
