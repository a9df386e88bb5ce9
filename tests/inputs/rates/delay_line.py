"""A path with a satellite's delay, between two TUN devices: every packet comes out so much later.

    python -m tests.inputs.rates.delay_line NAME NAME DELAY_S

For kernels without netem. It loses and reorders nothing; the rate is left to the kernel's token bucket.
"""

import fcntl
import os
import select
import struct
import sys
import time
from collections import deque

TUNSETIFF = 0x400454CA  # <linux/if_tun.h>
IFF_TUN_NO_PI = 0x0001 | 0x1000
LARGEST = 65_536


def open_tun(name: str) -> int:
    """A TUN device of this name; it goes when the descriptor is closed."""
    descriptor = os.open("/dev/net/tun", os.O_RDWR | os.O_NONBLOCK)
    fcntl.ioctl(descriptor, TUNSETIFF, struct.pack("16sH", name.encode(), IFF_TUN_NO_PI))
    return descriptor


def relay(ends: tuple[int, int], delay_s: float) -> None:
    """Until killed."""
    waiting: deque[tuple[float, int, bytes]] = deque()
    while True:
        now_s = time.monotonic()
        while waiting and waiting[0][0] <= now_s:
            _, to, packet = waiting.popleft()
            write(to, packet)
        ready, _, _ = select.select(ends, [], [], waiting[0][0] - now_s if waiting else None)
        for end in ready:
            waiting.append((time.monotonic() + delay_s, ends[1 - ends.index(end)], os.read(end, LARGEST)))


def write(end: int, packet: bytes) -> None:
    """A device that is not up yet drops it, as a cable would."""
    try:
        os.write(end, packet)
    except OSError as error:
        sys.stderr.write(f"dropped: {error}\n")


if __name__ == "__main__":
    both = open_tun(sys.argv[1]), open_tun(sys.argv[2])
    print("open", flush=True)  # noqa: T201
    relay(both, float(sys.argv[3]))
