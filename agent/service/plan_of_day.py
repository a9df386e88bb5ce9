"""The plan follows the calendar: of another day, or by a clock that was set right, it is computed again."""

import asyncio
from collections.abc import Awaitable, Callable

from agent.clock import Clock
from agent.errors import UsageError
from agent.inputs.collectors.frame import InputState, OwnThread
from agent.link_plan import LinkPlan
from agent.records import JsonValue

LOOK_EVERY_S = 5.0
# One that cannot be computed now can hardly be in a minute, and each try takes seconds of the processor.
RETRY_S = 600.0


class PlanOfDay:
    """`plan_at` gives the plan for a moment and may block for a minute; `take` puts it in force."""

    def __init__(
        self,
        clock: Clock,
        plan: LinkPlan,
        plan_at: Callable[[float], LinkPlan],
        take: Callable[[LinkPlan], Awaitable[None]],
        on_change: Callable[[], None],
    ) -> None:
        self._clock = clock
        self._plan = plan
        self._plan_at = plan_at
        self._take = take
        self._thread = OwnThread()
        self._state = InputState("plan", clock.shown(), on_change=on_change)

    def as_json(self) -> list[JsonValue]:
        """Why there is no plan of the day; nothing where there is one."""
        return [self._state.as_json()] if self._state.state == "failing" else []

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            now_unix_s = self._clock.shown()
            if not self._plan.start_unix_s <= now_unix_s < self._plan.end_unix_s:
                await self._renew(now_unix_s)
            await asyncio.sleep(RETRY_S if self._state.state == "failing" else LOOK_EVERY_S)

    async def _renew(self, now_unix_s: float) -> None:
        try:
            plan = await self._thread.run(lambda: self._plan_at(now_unix_s))
        except UsageError as error:
            self._state.failed(f"that of the day is missing: {error}", now_unix_s)
            return
        await self._take(plan)
        self._plan = plan
        self._state.worked(0, None, now_unix_s)
