"""What the agent knows of its own ears: the broker, and messages that it hears but does not take.

None of it is a reading, so that the engine never decides by it: it stands beside what the engine says.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from agent.config import Config
from agent.inputs.collectors.frame import InputState
from agent.records import AlertEvent, JsonValue, Situation
from agent.service.sole import Owner
from agent.watch.words import PLAIN, joined
from agent.wording import Codes, Said, capital

BROKER = "broker"
# The first words of what it remarks, the most telling first.
MESSAGES, TERMINAL, HISTORY, CLIENT, AGENT = REMARKS = "messages", "terminal", "history", "client", "agent"
SILENT_RULE = "no-data"
# A broker that restarts, or a connection that breaks and stands again, is no news.
GONE_AFTER_S = 2.0
# Of topics and names; a device that makes up new ones must not fill the memory.
MOST_REMARKS = 20

GONE = "not reached since {clock}: is it running, and the network to it up? Readings wait at their senders"
REFUSED = "{count} refused, the last at {clock}: {reason}"
KEPT = "{count} old, kept by the broker; they count for nothing: publish without the retain flag"
RIVAL = (
    "another client calls itself so too, and each ended the other's connection: end it, then start"
    " this agent again"
)
SECOND = "watches this terminal too, last heard at {clock}: each speaks over the other; end one of the two"
SLIP = "readings come for it; where {terminal} is meant, mend the topic of the device"


class Hearing:
    """`on_change` is called in the running loop when something begins or ceases to be wrong."""

    def __init__(self, config: Config, now: Callable[[], float], on_change: Callable[[], None]) -> None:
        name = f"{BROKER} {config.broker.host}:{config.broker.port}"
        self._broker = InputState(name, now(), on_change=on_change)
        self._remarks: dict[str, InputState] = {}
        self._terminal = config.job.terminal
        self._zone = ZoneInfo(config.job.site.time_zone)
        self._now = now
        self._on_change = on_change
        self._going: asyncio.TimerHandle | None = None

    def link(self, stands: bool) -> None:
        """The connection to the broker stands or does not; each failed try says so again."""
        if not stands and self._going is None:
            self._going = asyncio.get_running_loop().call_later(GONE_AFTER_S, self._gone, self._now())
        elif stands:
            if self._going is not None:
                self._going.cancel()
                self._going = None
            self._broker.worked(0, None, self._now())

    def _gone(self, since_unix_s: float) -> None:
        self._broker.failed(GONE.format(clock=self._clock(since_unix_s)), since_unix_s)

    def refused(self, topic: str, reason: str) -> None:
        """A message that could not be read."""
        self._remark(f"{MESSAGES} on {topic}", REFUSED, reason=reason)

    def kept(self, topic: str) -> None:
        """A message that the broker had retained: history, which counts for nothing."""
        self._remark(f"{HISTORY} on {topic}", KEPT)

    def rival(self, name: str) -> None:
        """Another client uses the agent's name at the broker."""
        self._remark(f"{CLIENT} {name}", RIVAL)

    def second(self, other: Owner) -> None:
        """Another agent says that it watches the terminal, from another computer or store."""
        self._remark(f"{AGENT} on {other.host}, process {other.process}, since {other.since},", SECOND)

    def slip(self, name: str) -> None:
        """Readings come for a terminal of a name that may be a slip for this one's."""
        self._remark(f"{TERMINAL} {name}", SLIP, terminal=self._terminal)

    def _remark(self, name: str, form: str, **words: str) -> None:
        if name not in self._remarks and len(self._remarks) >= MOST_REMARKS:
            return
        now_unix_s = self._now()
        state = self._remarks.setdefault(name, InputState(name, now_unix_s, "ok", on_change=self._on_change))
        text = form.format(count=state.readings + 1, clock=self._clock(now_unix_s), **words)
        state.worked(1, text, now_unix_s)

    def _clock(self, unix_s: float) -> str:
        return f"{datetime.fromtimestamp(unix_s, UTC).astimezone(self._zone):%H:%M:%S}"

    def as_json(self) -> list[JsonValue]:
        """What is wrong, in the form in which inputs tell how they fare."""
        gone = [self._broker] if self._broker.state == "failing" else []
        return [state.as_json() for state in (*gone, *tuple(self._remarks.values()))]

    def heard_through(self, situation: Situation) -> Situation:
        """The engine's answer with what the agent knows of its ears."""
        alerts = tuple(replace(one, event=self.told(one.event)) for one in situation.alerts)
        situation = replace(situation, alerts=alerts)
        if not situation.last_seen_unix_s and self._remarks:
            situation = replace(situation, action=self._lines()[0], said=_but(situation.said, "action"))
        return situation if self._broker.state != "failing" else self._without_broker(situation)

    def _without_broker(self, situation: Situation) -> Situation:
        """Nothing is fine that is not known; what was the matter before may still be."""
        gone = f"{self._broker.name} {self._broker.error}"
        if situation.level in ("fine", "unknown"):
            verdict, _, action = gone.partition(": ")
            said = _but(situation.said, "verdict", "action")
            verdict, action = capital(verdict), capital(action)
            return replace(situation, level="unknown", verdict=verdict, action=action, said=said)
        gone, _, _ = gone.partition(": ")
        said = {**situation.said, "verdict": (*situation.said.get("verdict", ()), _plain(capital(gone)))}
        return replace(situation, verdict=joined((situation.verdict, capital(gone))), said=said)

    def told(self, event: AlertEvent) -> AlertEvent:
        """An alert about silence, with what came and was not taken."""
        if event.rule != SILENT_RULE or event.state == "cleared":
            return event
        lines = self._lines()
        said = {**event.said, "evidence": (*event.said.get("evidence", ()), *map(_plain, lines))}
        return replace(event, evidence=(*event.evidence, *lines), said=said)

    def _lines(self) -> list[str]:
        ranked = sorted(self._remarks.values(), key=lambda one: REMARKS.index(one.name.split()[0]))
        return [f"{capital(one.name)}: {one.finding}" for one in ranked]


def _plain(line: str) -> Said:
    return Said(PLAIN, {"text": line})


def _but(said: Codes, *parts: str) -> Codes:
    """Without what has been said otherwise."""
    return {name: codes for name, codes in said.items() if name not in parts}
