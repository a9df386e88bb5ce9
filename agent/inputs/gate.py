"""Which messages the agent has received but not stored yet, for a broker that answers for them."""

import asyncio


class DurableGate:
    """Messages to the agent that have not been stored yet. `agent_id` is the agent's client id."""

    def __init__(self, agent_id: str, topic_start: str, not_held: str) -> None:
        self.agent_id = agent_id
        self._topic_start = topic_start
        self._not_held = not_held
        self._waiting: dict[tuple[str, bytes], asyncio.Future[None]] = {}

    def concerns(self, topic: str) -> bool:
        """Whether the agent stores the messages of a topic."""
        inside = topic.startswith(self._topic_start) and "/" not in topic.removeprefix(self._topic_start)
        return inside and topic != self._not_held

    async def stored(self, topic: str, payload: bytes) -> None:
        """Wait until the agent has stored this message."""
        key = (topic, payload)
        if key not in self._waiting:
            self._waiting[key] = asyncio.get_running_loop().create_future()
        await asyncio.shield(self._waiting[key])

    def open(self, topic: str, payload: bytes) -> None:
        """The agent has stored this message."""
        waiting = self._waiting.pop((topic, payload), None)
        if waiting is not None:
            waiting.set_result(None)

    def waiting(self) -> list[tuple[str, bytes]]:
        """What is not stored, oldest first."""
        return list(self._waiting)
