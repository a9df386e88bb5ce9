"""What arrives at the broker, and what the config's maps make of it."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest

import aiomqtt

from agent.config import Config
from agent.config_check import Findings, read_section
from agent.errors import UsageError
from agent.inputs.collectors.decoding import Format, PayloadRefused, Values, decode
from agent.inputs.collectors.frame import checked
from agent.inputs.collectors.mapped import Mapped, mapped
from agent.inputs.collectors.trying import reading_text
from agent.inputs.devices.mqtt import Settings
from agent.inputs.messages import reading_topic
from agent.inputs.payloads import PayloadError, parse
from agent.inputs.senml import SenmlError, resolved

SHOWN_CHARACTERS = 100
SHOWN_VALUES = 12


@dataclass(slots=True)
class TopicMap:
    """One [[inputs.mqtt]], with how many messages came under its topic and how many fitted."""

    name: str
    topic: str
    how: Mapped
    came: int = 0
    fitted: int = 0


@dataclass(slots=True)
class Listener:
    """Puts messages into words; remembers which topics it has explained."""

    terminal: str
    maps: Sequence[TopicMap]
    explained: set[str] = field(default_factory=set)

    def lines(self, topic: str, payload: bytes, now_unix_s: float) -> list[str]:
        """The message, what it maps to, and once for each topic without a map what a map could take."""
        found = [f"{topic}  {_shown(payload)}"]
        if topic.startswith(reading_topic(self.terminal, "")):
            return [*found, f"    {_own(topic, payload)}"]
        told = [
            f"    -> {one.name}: {_mapped(one, payload, now_unix_s)}"
            for one in self.maps
            if aiomqtt.Topic(topic).matches(one.topic)
        ]
        if not told and topic not in self.explained:
            self.explained.add(topic)
            told = [f"    no map; {line}" for line in explanation(payload, now_unix_s)]
        return found + told

    def never(self, heard: str) -> list[str]:
        """A line for each map that has not fitted once, of those that the topic filter `heard` concerns."""
        return [
            f"{one.name}: of {one.came} messages under {one.topic} none fitted; mend its topic or readings"
            for one in self.maps
            if one.fitted == 0 and overlap(one.topic, heard)
        ]


def overlap(one: str, other: str) -> bool:
    """Whether some topic matches both topic filters (MQTT 3.1.1, section 4.7)."""
    for a, b in zip_longest(one.split("/"), other.split("/")):
        if "#" in (a, b):
            return True
        if a is None or b is None or (a != b and "+" not in (a, b)):
            return False
    return True


def listener(config: Config) -> Listener:
    """For the maps of a config that read from the agent's broker; raises UsageError where maps are wrong."""
    findings = Findings(str(config.path))
    tables = config.inputs.get("mqtt", [])
    maps = [
        _topic_map(table, f"inputs.mqtt[{number}]", findings)
        for number, table in enumerate(tables if isinstance(tables, list) else [], 1)
    ]
    if findings.lines:
        raise UsageError("\n".join(findings.lines))
    return Listener(config.job.terminal, [one for one in maps if one is not None])


def _topic_map(table: Mapping[str, object], section: str, findings: Findings) -> TopicMap | None:
    settings = read_section(Settings, section, table, findings)
    how = None if settings is None else mapped(settings, section, findings)
    if settings is None or how is None or settings.host is not None:
        return None
    return TopicMap(settings.name or section, settings.topic, how)


def _mapped(one: TopicMap, payload: bytes, now_unix_s: float) -> str:
    one.came += 1
    try:
        sound, error = checked(one.how.collected(payload, now_unix_s), now_unix_s)
    except PayloadRefused as refused:
        return str(refused)
    if error is not None:
        return error
    one.fitted += 1
    return "; ".join(reading_text(kind, message) for kind, message in sound)


def _own(topic: str, payload: bytes) -> str:
    kind = topic.rpartition("/")[2]
    try:
        parse(kind, payload)
    except PayloadError as error:
        return f"refused: {error}" if topic.count("/") == 2 and kind != "status" else "from the agent"
    return f"a reading of {kind}"


def explanation(payload: bytes, now_unix_s: float) -> list[str]:
    """What a map could take from a payload without one: the format, and the sources with their values."""
    kind = likely_format(payload, now_unix_s)
    if kind == "text":
        return ['format = "text" with a pattern']
    values = decode(kind, None, payload, now_unix_s)
    return [f'format = "{kind}", sources:', *_sources(values)]


def _sources(values: Values) -> list[str]:
    shown = [f'  "{name}" = {values.value_of(name)!r}' for name in values.names[:SHOWN_VALUES]]
    more = len(values.names) - len(shown)
    return shown if more <= 0 else [*shown, f"  and {more} more"]


def likely_format(payload: bytes, now_unix_s: float) -> Format:
    """The format that a payload fits."""
    try:
        tree = json.loads(payload)
    except (ValueError, RecursionError):
        return "text"
    if isinstance(tree, int | float) and not isinstance(tree, bool):
        return "number"
    if not isinstance(tree, dict | list):
        return "text"
    try:
        resolved(tree, now_unix_s)
    except SenmlError:
        return "json"
    return "senml"


def _shown(payload: bytes) -> str:
    text = payload.decode("utf-8", "backslashreplace").replace("\n", " ")
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}..."
