"""`python -m tests.agent_process SPEC`: the live agent of the sample day, on a clock that tests share.

The clock counts from a moment of the system's monotonic clock, so that an agent that was killed and started
again goes on in the same played day.
"""

import asyncio
import json
import sys
import time
from dataclasses import replace
from pathlib import Path

from agent.clock import Clock
from agent.event_loop import stop_on_signals
from agent.service.console import log_to_terminal
from agent.service.live import run_agent
from tests.live import sample_agent
from tests.processes import broker_at


def set_wrong(file: Path) -> None:
    """This computer's clock is wrong by the seconds in the file, at every moment."""
    right = time.time
    time.time = lambda: right() + float(file.read_text() or "0")


async def main(spec_text: str) -> None:
    """Run until a signal."""
    spec = json.loads(spec_text)
    if spec["wrong"] is not None:
        set_wrong(Path(spec["wrong"]))
    broker = broker_at(spec["port"], spec["embedded"])
    agent = sample_agent(Path(spec["store"]), broker, Clock(**spec["clock"]))
    notify = replace(agent.config.notify, remind_act_s=spec["remind_act_s"])
    agent = replace(agent, config=replace(agent.config, notify=notify))
    await run_agent(agent, stop_on_signals(), {})


if __name__ == "__main__":
    log_to_terminal()
    asyncio.run(main(sys.argv[1]))
