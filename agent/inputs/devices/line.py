"""[[inputs.line]]: an instrument that writes lines to a serial or TCP port."""

import asyncio
import time
from collections.abc import AsyncGenerator, Mapping
from dataclasses import dataclass
from typing import Annotated

from annotated_types import Interval

from agent.inputs.collectors.decoding import Format, PayloadRefused
from agent.inputs.collectors.frame import Collected, Collector, OwnThread, Stream
from agent.inputs.collectors.mapped import Line, Mapped, Seconds, Word, mapped
from agent.inputs.collectors.registry import Around
from agent.inputs.devices.line_source import CONNECT_WITHIN_S, address_error, line_reader, next_line

Baud = Annotated[int, Interval(ge=50, le=4_000_000)]
# Lines without a reading, before any had one, that are no coincidence.
ENOUGH_MISFITS = 10
ADVICE = "is it on and plugged in, [[inputs.line]] address and baud right, and may this user open it?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """A reading at most every `every_s`; silence or lines that do not fit for `expect_s` are a failure."""

    address: Line
    readings: Mapping[str, object]
    name: Word | None = None
    baud: Baud = 9600
    format: Format = "text"
    pattern: Line | None = None
    every_s: Seconds = 5.0
    expect_s: Seconds = 60.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    expected = address_error(settings.address)
    if expected is not None:
        around.findings.add(around.section, "address", settings.address, expected)
    how = mapped(settings, around.section, around.findings)
    if how is None or expected is not None:
        return None
    return Collector(
        name=f"line {settings.name or settings.address}",
        place=settings.address,
        advice=ADVICE,
        stream=_stream(settings, how),
        first_within_s=settings.expect_s + CONNECT_WITHIN_S,
    )


def _stream(settings: Settings, how: Mapped) -> Stream:
    thread = OwnThread()

    async def stream() -> AsyncGenerator[Collected, None]:
        async with line_reader(settings.address, settings.baud, thread) as reader:
            now_s = asyncio.get_running_loop().time()
            pace = _Pace(settings.every_s, settings.expect_s, now_s, now_s)
            while True:
                found = _collected(how, await next_line(reader, settings.expect_s), pace)
                if found is not None:
                    yield found

    return stream


@dataclass(slots=True)
class _Pace:
    """When the next reading is due, and since when nothing has fitted; by the loop's time."""

    every_s: float
    expect_s: float
    due_s: float
    fitted_s: float
    misfits: int = 0
    ever: bool = False

    def misfit_is_failure(self, now_s: float) -> bool:
        """The first line after opening is often only its end, and instruments write headings in between."""
        self.misfits += 1
        if now_s - self.fitted_s < self.expect_s and (self.ever or self.misfits < ENOUGH_MISFITS):
            return False
        self.fitted_s, self.misfits = now_s, 0
        return True


def _collected(how: Mapped, line: bytes, pace: _Pace) -> Collected | None:
    now_s = asyncio.get_running_loop().time()
    try:
        found = how.collected(line, time.time())
    except PayloadRefused as error:
        return Collected((), error=f"no line fits: {error}") if pace.misfit_is_failure(now_s) else None
    pace.fitted_s, pace.misfits, pace.ever = now_s, 0, True
    if now_s < pace.due_s:
        return None
    pace.due_s = max(pace.due_s + pace.every_s, now_s)
    return found
