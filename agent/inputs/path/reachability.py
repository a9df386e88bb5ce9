"""Delay, loss and jitter to a host beyond the satellite, and to the terminal's own gateway beside it."""

import asyncio
import socket
import struct
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Annotated

from annotated_types import Interval

from agent.config import Host, Port
from agent.inputs.collectors.frame import Collected, Collector, Sample
from agent.inputs.collectors.registry import Around
from agent.inputs.path.figures import Path
from agent.inputs.path.probes import ProbeMethod, Prober, open_prober
from agent.records import JsonValue

PROBES = 8  # a round; a lost one is an eighth, and the watch averages a minute
PROBE_SPACING_S = 1.0
# A satellite's round trip with full queues on both ways stays below this.
PROBE_TIMEOUT_S = 3.0
ROUTES = FilePath("/proc/net/route")
GATEWAY_FLAGS = 0x3  # RTF_UP and RTF_GATEWAY of <linux/route.h>


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """[[inputs.reachability]]: `target` lies beyond the satellite; `gateway` is found where not named."""

    target: Host
    gateway: Host | None = None
    method: ProbeMethod = "auto"
    port: Port = 443
    gateway_port: Port = 80
    every_s: Annotated[float, Interval(ge=1.0, le=3600.0)] = 10.0


def make(settings: Settings, _: Around) -> Collector:
    """Publishes reach readings."""
    return collector(settings, ROUTES)


def collector(settings: Settings, routes: FilePath) -> Collector:
    """The same with another table of routes."""
    return Collector(
        name=f"reachability {settings.target}",
        place=settings.target,
        advice="name an address beyond the satellite that answers, in [[inputs.reachability]] target",
        stream=lambda: _rounds(settings, routes),
        first_within_s=PROBES * PROBE_SPACING_S + 2.0 * PROBE_TIMEOUT_S,
    )


async def _rounds(settings: Settings, routes: FilePath) -> AsyncGenerator[Collected, None]:
    loop = asyncio.get_running_loop()
    spacing_s = min(PROBE_SPACING_S, settings.every_s / PROBES)
    gateway = settings.gateway or default_gateway(routes)
    probers = [await open_prober(settings.target, settings.port, settings.method)]
    try:
        if gateway is not None:
            probers.append(await open_prober(gateway, settings.gateway_port, settings.method))
        paths = [Path() for _ in probers]
        while True:
            due_s = loop.time() + settings.every_s
            answers = await asyncio.gather(*(_round(prober, spacing_s) for prober in probers))
            yield _collected(paths, answers, gateway, settings.target)
            await asyncio.sleep(due_s - loop.time())
    finally:
        for prober in probers:
            prober.close()


async def _round(prober: Prober, spacing_s: float) -> list[float | None]:
    async def one(index: int) -> float | None:
        await asyncio.sleep(index * spacing_s)
        return await prober.rtt_ms(PROBE_TIMEOUT_S)

    return list(await asyncio.gather(*map(one, range(PROBES))))


def _collected(
    paths: list[Path], answers: list[list[float | None]], gateway: str | None, target: str
) -> Collected:
    figures = [path.add(rtts_ms) for path, rtts_ms in zip(paths, answers, strict=True)]
    fields: dict[str, JsonValue] = {
        "rtt_ms": figures[0].rtt_ms,
        "jitter_ms": figures[0].jitter_ms,
        "loss_percent": figures[0].loss_percent,
    }
    if len(figures) > 1:
        fields |= {"local_rtt_ms": figures[1].rtt_ms, "local_loss_percent": figures[1].loss_percent}
    finding = None
    if gateway is None:
        finding = "no gateway is known, so that LAN and satellite look alike; name it as gateway"
    elif not paths[1].answered:
        finding = f"the gateway {gateway} has never answered; try another method or gateway_port"
        del fields["local_rtt_ms"], fields["local_loss_percent"]
    elif not paths[0].answered:
        finding = f"{target} has never answered; name a target that answers"
    return Collected((Sample("reach", fields),), finding)


def default_gateway(routes: FilePath) -> str | None:
    """The IPv4 gateway of the default route, from the kernel's table; None where there is none."""
    if not routes.exists():
        return None
    rows = [line.split() for line in routes.read_text(encoding="ascii").splitlines()[1:]]
    found = [
        (int(row[6]), row[2])
        for row in rows
        if row[1] == "00000000" and row[7] == "00000000" and int(row[3], 16) & GATEWAY_FLAGS == GATEWAY_FLAGS
    ]
    # The kernel writes the address as a number in the computer's own order of bytes.
    return socket.inet_ntoa(struct.pack("=I", int(min(found)[1], 16))) if found else None
