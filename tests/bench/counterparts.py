"""For every kind of input what it reads from, on this computer, with its table of the config.

They are the counterparts of the inputs' own tests. A program that is not installed leaves its input out.
"""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path

import pytest

from agent.config import LOOPBACK
from agent.inputs.collectors.registry import MODULES
from tests.bench.slow_line import slow_line
from tests.inputs.collectors.servers import TOKEN, responder
from tests.inputs.devices.test_http import Device
from tests.inputs.devices.test_kernel_files import SLAVE, hwmon_tree
from tests.inputs.devices.test_lines import GOOD, Tcp, gga
from tests.inputs.devices.test_mqtt import Devices
from tests.inputs.devices.test_snmp import KEYS, ROOT_OID, Snmpd
from tests.inputs.devices.test_ups import MAINS, UpsServer
from tests.inputs.rates.test_iperf import server as iperf_server
from tests.processes import PATIENCE_S, free_port, listens, wait_until

# Ten of the inputs have readings at this pace: five a second.
EVERY_S = 2.0
ENVIRONMENT = {**KEYS, "RATE_TOKEN": TOKEN, "DEVICE_PASSWORD": "salt-pan"}
# A test of the rate every ten minutes, at the few Mbit/s of a satellite terminal.
RATE_TEST = "every_s = 600.0\nseconds = 2.0\nwindow_bytes = 16384\ntest_mb = 20.0\nday_mb = 1000.0\n"

Counterpart = Callable[[Path, int], AbstractContextManager[str]]


@contextmanager
def repeating(say: Callable[[], None]) -> Iterator[None]:
    """Does it at every pace, in a thread of its own."""
    ended = threading.Event()

    def repeat() -> None:
        while not ended.wait(EVERY_S):
            say()

    thread = threading.Thread(target=repeat)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


@contextmanager
def mqtt(_: Path, broker_port: int) -> Iterator[str]:
    """A device that publishes in its own words to the agent's broker, once that is there."""
    with ExitStack() as until_end:
        devices: list[Devices] = []

        def say() -> None:
            if not listens(broker_port):
                return
            if not devices:
                devices.append(Devices(broker_port))
                until_end.callback(devices[0].close)
            devices[0].say("mast/thermometer", "88.5")

        until_end.enter_context(repeating(say))
        yield (
            '[[inputs.mqtt]]\ntopic = "mast/thermometer"\nformat = "number"\nexpect_s = 60.0\n'
            '[inputs.mqtt.readings.temperature]\nwhere = { constant = "ambient" }\n'
            'temperature_degc = { source = "value", unit = "degF" }\n'
        )


@contextmanager
def snmp(folder: Path, _: int) -> Iterator[str]:
    """Debian's agent, once by version 2c and once by version 3 with both passwords."""
    device = Snmpd(folder)
    device.start()
    try:
        common = f'[[inputs.snmp]]\nhost = "{LOOPBACK}"\nport = {device.port}\nevery_s = {EVERY_S}\n'
        keys = 'username = "crew"\npassword_env = "SNMP_PASSWORD"\nprivacy_password_env = "SNMP_PRIVACY"\n'
        yield (
            f'{common}name = "modem 2c"\n[inputs.snmp.readings.signal]\nrx_level_dbm = "{ROOT_OID}.3.0"\n'
            f'esno_db = {{ source = "{ROOT_OID}.1.0", scale = 0.1 }}\n'
            f'{common}name = "modem 3"\n{keys}[inputs.snmp.readings.signal]\nmodcod = "{ROOT_OID}.2.0"\n'
            f'esno_db = {{ source = "{ROOT_OID}.1.0", scale = 0.1 }}\n'
        )
    finally:
        device.stop()


@contextmanager
def http(_: Path, __: int) -> Iterator[str]:
    """A modem's status page, over a kept connection with a digest login."""
    device = Device(free_port(), kept=True, nonce="once")
    device.start()
    try:
        yield (
            f'[[inputs.http]]\nurl = "http://{LOOPBACK}:{device.port}/status"\nevery_s = {EVERY_S}\n'
            'login = "digest"\nusername = "crew"\npassword_env = "DEVICE_PASSWORD"\n'
            '[inputs.http.readings.signal]\nesno_db = "/rx/esno"\n'
        )
    finally:
        device.stop()


@contextmanager
def line(_: Path, __: int) -> Iterator[str]:
    """A weather station behind a serial server."""
    instrument = Tcp()
    instrument.plug_in()
    with repeating(lambda: instrument.write(GOOD)):
        yield (
            f'[[inputs.line]]\naddress = "{instrument.address}"\nevery_s = 0.2\nexpect_s = 60.0\n'
            "pattern = 'T=(?P<t>[-+0-9.]+) C'\n[inputs.line.readings.weather]\nair_degc = \"t\"\n"
        )
    instrument.pull_out()


@contextmanager
def gnss(_: Path, __: int) -> Iterator[str]:
    """A receiver behind a serial server; it checks the site and has no readings."""
    receiver = Tcp()
    receiver.plug_in()
    with repeating(lambda: receiver.write(gga("3715.000", "00657.000"))):
        yield f'[[inputs.gnss]]\naddress = "{receiver.address}"\nevery_s = {EVERY_S}\n'
    receiver.pull_out()


@contextmanager
def onewire(folder: Path, _: int) -> Iterator[str]:
    """The kernel's tree of 1-Wire sensors."""
    sensor = folder / "w1" / "28-0316a2796cff"
    sensor.mkdir(parents=True)
    (sensor / "w1_slave").write_text(SLAVE)
    yield (
        f'[[inputs.onewire]]\nsensor = "{sensor.name}"\nwhere = "transmitter"\nbase = "{sensor.parent}"\n'
        f"every_s = {EVERY_S}\n"
    )


@contextmanager
def hwmon(folder: Path, _: int) -> Iterator[str]:
    """The kernel's tree of hardware thermometers."""
    base = hwmon_tree(folder).parent
    yield (
        f'[[inputs.hwmon]]\nchip = "cpu_thermal"\nwhere = "computer"\nbase = "{base}"\nevery_s = {EVERY_S}\n'
    )


@contextmanager
def ups(folder: Path, _: int) -> Iterator[str]:
    """Debian's UPS server with its driver that plays a file."""
    server = UpsServer(folder)
    server.say(MAINS)
    server.start()
    try:
        yield f'[[inputs.ups]]\nsupply = "mains"\nups = "van"\nport = {server.port}\nevery_s = {EVERY_S}\n'
    finally:
        server.stop()


@contextmanager
def reachability(_: Path, __: int) -> Iterator[str]:
    """Probes of the loopback: connections that are refused, which is an answer too."""
    yield (
        f'[[inputs.reachability]]\ntarget = "{LOOPBACK}"\nport = {free_port()}\ngateway = "{LOOPBACK}"\n'
        f'method = "tcp"\nevery_s = {EVERY_S}\n'
    )


@contextmanager
def counters(_: Path, __: int) -> Iterator[str]:
    """What the loopback carries."""
    yield f'[[inputs.counters]]\ninterface = "lo"\nevery_s = {EVERY_S}\n'


@contextmanager
def http_rate(folder: Path, _: int) -> Iterator[str]:
    """`peakshade respond` at the end of a slow line."""
    far_port = free_port()
    with responder(far_port, folder), slow_line(far_port) as port:
        yield (
            f'[[inputs.http_rate]]\ndownload_url = "http://{LOOPBACK}:{port}/down"\n'
            f'upload_url = "http://{LOOPBACK}:{port}/up"\ntoken_env = "RATE_TOKEN"\n{RATE_TEST}'
        )


@contextmanager
def iperf(_: Path, __: int) -> Iterator[str]:
    """iperf3's own server at the end of a slow line."""
    far_port = free_port()
    with iperf_server(far_port), slow_line(far_port) as port:
        yield f'[[inputs.iperf]]\nhost = "{LOOPBACK}"\nport = {port}\nomit_s = 0.0\n{RATE_TEST}'


COUNTERPARTS: Mapping[str, Counterpart] = {
    "mqtt": mqtt,
    "snmp": snmp,
    "http": http,
    "line": line,
    "onewire": onewire,
    "hwmon": hwmon,
    "ups": ups,
    "gnss": gnss,
    "reachability": reachability,
    "counters": counters,
    "http_rate": http_rate,
    "iperf": iperf,
}


@contextmanager
def every_input(folder: Path, broker_port: int) -> Iterator[tuple[str, list[str]]]:
    """The tables of every kind of input, and a line for each that is left out."""
    assert COUNTERPARTS.keys() == MODULES.keys(), "each kind of input has its counterpart"
    tables, left_out = [], []
    with ExitStack() as running:
        for kind, counterpart in COUNTERPARTS.items():
            own = folder / kind
            own.mkdir()
            try:
                tables.append(running.enter_context(counterpart(own, broker_port)))
            except pytest.skip.Exception as reason:
                left_out.append(f"{kind}: {reason}")
        yield "\n".join(tables), left_out


def wait_for_agent(broker_port: int) -> None:
    """Until its broker listens: it may compute its plan first."""
    wait_until(lambda: listens(broker_port), PATIENCE_S, "the agent runs")
