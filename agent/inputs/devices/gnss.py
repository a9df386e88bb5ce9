"""[[inputs.gnss]]: a GNSS receiver that checks the site in the config."""

import asyncio
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from typing import Annotated

from annotated_types import Interval

from agent.inputs.collectors.frame import Collected, Collector, CollectorError, OwnThread, Stream
from agent.inputs.collectors.mapped import Line, Seconds, Word
from agent.inputs.collectors.registry import Around
from agent.inputs.devices.line import Baud
from agent.inputs.devices.line_source import CONNECT_WITHIN_S, address_error, line_reader, next_line
from agent.inputs.devices.nmea import NmeaError, NoFix, Position, distance_m, position_of
from agent.job import Site

ADVICE = "is the receiver on, its view of the sky free, and [[inputs.gnss]] address and baud right?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Looks every `every_s`; farther than `tolerance_m` from the site is a finding."""

    address: Line
    name: Word | None = None
    baud: Baud = 4800  # NMEA 0183's own speed
    every_s: Seconds = 60.0
    expect_s: Seconds = 30.0
    tolerance_m: Annotated[float, Interval(ge=20.0, le=100_000.0)] = 1000.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    expected = address_error(settings.address)
    if expected is not None:
        around.findings.add(around.section, "address", settings.address, expected)
        return None
    return Collector(
        name=f"gnss {settings.name or settings.address}",
        place=settings.address,
        advice=ADVICE,
        stream=_stream(settings, around.config.job.site),
        first_within_s=settings.expect_s + CONNECT_WITHIN_S,
    )


def _stream(settings: Settings, site: Site) -> Stream:
    thread = OwnThread()

    async def stream() -> AsyncGenerator[Collected, None]:
        loop = asyncio.get_running_loop()
        async with line_reader(settings.address, settings.baud, thread) as reader:
            due_s = loop.time()
            while True:
                position = await _fix(reader, settings.expect_s)
                if loop.time() >= due_s:
                    due_s = loop.time() + settings.every_s
                    yield compared(position, site, settings.tolerance_m)

    return stream


async def _fix(reader: asyncio.StreamReader, expect_s: float) -> Position:
    """The next position; raises CollectorError with what came instead."""
    loop = asyncio.get_running_loop()
    deadline_s = loop.time() + expect_s
    instead = "no sentence with a position came"
    while loop.time() < deadline_s:
        line = await next_line(reader, expect_s)
        try:
            found = position_of(line.decode("ascii", "replace"))
        except NmeaError as error:
            instead = str(error)
            continue
        if isinstance(found, Position):
            return found
        if isinstance(found, NoFix):
            instead = "the receiver has no fix"
    raise CollectorError(f"{instead}, for {expect_s:g} s")


def compared(position: Position, site: Site, tolerance_m: float) -> Collected:
    """The receiver's position beside the site's."""
    apart_m = distance_m(position, Position(site.latitude_deg, site.longitude_deg))
    here = f"latitude_deg = {position.latitude_deg:.5f}, longitude_deg = {position.longitude_deg:.5f}"
    if position.height_m is not None:
        here += f", height_m = {position.height_m:.0f}"
    if apart_m <= tolerance_m:
        return Collected((), remark=f"the site agrees within {apart_m:.0f} m ({here})")
    far = f"{apart_m / 1000.0:.0f} km" if apart_m >= 10_000.0 else f"{apart_m / 1000.0:.1f} km"
    return Collected((), finding=f"the config's site is {far} away; mend [site] where this is right: {here}")
