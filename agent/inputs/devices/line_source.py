"""Lines from an instrument: a serial port of this computer, or a TCP port in the network."""

import asyncio
import os
import re
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager, suppress
from functools import partial

import serial

from agent.inputs.collectors.frame import CollectorError, OwnThread

TCP = re.compile(r"tcp://(?P<host>[^\s/:]+|\[[0-9A-Fa-f:]+\]):(?P<port>\d{1,5})")
ADDRESS_ALLOWED = 'a serial port such as "/dev/ttyUSB0", or "tcp://10.0.0.5:4001"'
# Longer than any line of an instrument: without an end by then it speaks at another speed.
LONGEST_LINE_BYTES = 4096
CONNECT_WITHIN_S = 10.0


def address_error(address: str) -> str | None:
    """What an address has to be; None where it is one."""
    match = TCP.fullmatch(address)
    if match is not None:
        return None if 0 < int(match["port"]) < 65_536 else ADDRESS_ALLOWED
    return None if "://" not in address else ADDRESS_ALLOWED


@asynccontextmanager
async def line_reader(
    address: str, baud: int, thread: OwnThread
) -> AsyncGenerator[asyncio.StreamReader, None]:
    """Lines of bytes for `next_line`; a serial port is opened in `thread`.

    Raises OSError or CollectorError where it cannot be opened.
    """
    match = TCP.fullmatch(address)
    if match is None:
        async with _serial_reader(address, baud, thread) as reader:
            yield reader
        return
    async with asyncio.timeout(CONNECT_WITHIN_S):
        reader, writer = await asyncio.open_connection(
            match["host"].strip("[]"), int(match["port"]), limit=LONGEST_LINE_BYTES
        )
    try:
        yield reader
    finally:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()


@asynccontextmanager
async def _serial_reader(
    device: str, baud: int, thread: OwnThread
) -> AsyncGenerator[asyncio.StreamReader, None]:
    try:
        async with asyncio.timeout(CONNECT_WITHIN_S):
            port = await thread.run(partial(serial.Serial, device, baud, timeout=0, exclusive=True))
    except serial.SerialException as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise CollectorError(f"cannot be opened: {reason}") from None
    reader = asyncio.StreamReader(limit=LONGEST_LINE_BYTES)
    transport, _ = await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(reader), port
    )
    try:
        yield reader
    finally:
        # The transport closes the port.
        transport.close()


async def next_line(reader: asyncio.StreamReader, within_s: float) -> bytes:
    """The next line without its end. Raises CollectorError where none comes, or no end of it."""
    try:
        async with asyncio.timeout(within_s):
            line = await reader.readline()
    except TimeoutError:
        raise CollectorError(f"silent for {within_s:g} s") from None
    except ValueError:
        raise CollectorError(
            f"no end of line in {LONGEST_LINE_BYTES} bytes; expected lines: is the speed (baud) right?"
        ) from None
    if not line.endswith(b"\n"):
        raise CollectorError("the connection has ended")
    return line.rstrip(b"\r\n")
