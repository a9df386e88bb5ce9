"""Which clients get a message, and what is kept for those that subscribe later. Pure."""

from collections.abc import Iterator

from paho.mqtt.matcher import MQTTMatcher

from agent.inputs.broker.session import Session
from agent.inputs.broker.wire import Message

# A terminal retains its state and one alert a rule; beyond this nothing more is kept, and that is said.
MAX_RETAINED = 1000
MAX_RETAINED_BYTES = 8_388_608
MAX_SUBSCRIPTIONS = 100
# Of one filter, by client id; with the quality of service.
_Subscribers = dict[str, tuple[Session, int]]


class Router:
    """Subscriptions and retained messages."""

    def __init__(self) -> None:
        self._filters = MQTTMatcher()
        self._retained: dict[str, Message] = {}
        self._retained_bytes = 0

    def subscribe(self, session: Session, name: str, qos: int) -> bool:
        """False where the client has too many subscriptions."""
        if name not in session.subscriptions and len(session.subscriptions) >= MAX_SUBSCRIPTIONS:
            return False
        session.subscriptions.add(name)
        try:
            self._filters[name][session.client_id] = (session, qos)
        except KeyError:
            self._filters[name] = {session.client_id: (session, qos)}
        return True

    def unsubscribe(self, session: Session, name: str) -> None:
        """Section 3.10: also where there was no such subscription."""
        if name not in session.subscriptions:
            return
        session.subscriptions.remove(name)
        subscribers: _Subscribers = self._filters[name]
        del subscribers[session.client_id]
        if not subscribers:
            del self._filters[name]

    def forget(self, session: Session) -> None:
        """The session has ended."""
        for name in list(session.subscriptions):
            self.unsubscribe(session, name)

    def receivers(self, topic: str) -> list[tuple[Session, int]]:
        """Sessions that subscribed to it, with the highest quality of service (section 3.3.5)."""
        found: _Subscribers = {}
        subscribers: _Subscribers
        for subscribers in self._filters.iter_match(topic):
            for client_id, one in subscribers.items():
                if client_id not in found or found[client_id][1] < one[1]:
                    found[client_id] = one
        return list(found.values())

    def keep(self, message: Message) -> bool:
        """Retain the message; an empty one ends that (section 3.3.1.3). False where there is no room."""
        before = self._retained.pop(message.topic, None)
        if before is not None:
            self._retained_bytes -= len(before.payload)
        if not message.payload:
            return True
        full = self._retained_bytes + len(message.payload) > MAX_RETAINED_BYTES
        if full or len(self._retained) >= MAX_RETAINED:
            return False
        self._retained[message.topic] = message
        self._retained_bytes += len(message.payload)
        return True

    def retained(self, name: str) -> Iterator[Message]:
        """What is kept of the topics that the filter matches."""
        one = MQTTMatcher()
        one[name] = True
        return (message for topic, message in self._retained.items() if any(one.iter_match(topic)))
