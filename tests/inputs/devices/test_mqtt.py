"""Maps of other devices' messages, and `listen`, against a real Mosquitto."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from agent.cli import main
from agent.config import LOOPBACK
from agent.inputs.collectors.registry import collectors_of
from tests.inputs.collectors.inputs_at_work import AtWork, config_with
from tests.processes import PATIENCE_S, Mosquitto, wait_until

pytestmark = pytest.mark.mosquitto

MAPS = """
[[inputs.mqtt]]
name = "modem"
topic = "devices/modem/+"
expect_s = 2.0
[inputs.mqtt.readings.signal]
esno_db = { source = "/rx/0/snr", scale = 0.1 }

[[inputs.mqtt]]
name = "mast"
topic = "mast/temp"
format = "number"
expect_s = 600.0
[inputs.mqtt.readings.temperature]
where = { constant = "ambient" }
temperature_degc = { source = "value", unit = "degF" }

[[inputs.mqtt]]
name = "station"
topic = "senml/#"
format = "senml"
expect_s = 600.0
[inputs.mqtt.readings.weather]
air_degc = "urn:dev:1:t"
wind_m_s = "urn:dev:1:w"

[[inputs.mqtt]]
name = "generator"
topic = "van/power"
format = "text"
pattern = '^(?P<from>GEN|BAT) (?P<u>[0-9.]+)V'
expect_s = 600.0
[inputs.mqtt.readings.power]
source = { source = "from", words = { GEN = "generator", BAT = "battery" } }
voltage_v = "u"
"""


class Devices:
    """Publishes whatever a test wants."""

    def __init__(self, port: int) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect(LOOPBACK, port)
        self._client.loop_start()

    def say(self, topic: str, payload: str | bytes, retain: bool = False) -> None:
        """One message, on its way."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(PATIENCE_S)

    def close(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def devices(mosquitto: Mosquitto) -> Iterator[Devices]:
    made = Devices(mosquitto.port)
    yield made
    made.close()


def broker_section(mosquitto: Mosquitto) -> str:
    return f'[broker]\nhost = "{LOOPBACK}"\nport = {mosquitto.port}\n'


@pytest.fixture
def work(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[AtWork]:
    """The maps at work."""
    made = AtWork(collectors_of(config_with(tmp_path, MAPS, broker_section(mosquitto)), {}))
    made.start()
    yield made
    made.stop()


def say_until(devices: Devices, topic: str, payload: str, work: AtWork, kind: str) -> dict[str, object]:
    """Repeat it, since nobody hears what is said before the subscription stands."""

    def said() -> bool:
        devices.say(topic, payload)
        return bool(work.readings(kind))

    wait_until(said, PATIENCE_S, f"a reading of {kind}")
    return work.readings(kind)[-1]


def test_four_formats_become_readings(devices: Devices, work: AtWork) -> None:
    assert say_until(devices, "devices/modem/rx", '{"rx": [{"snr": 137}]}', work, "signal") == {
        "esno_db": pytest.approx(13.7)
    }
    assert say_until(devices, "mast/temp", "95", work, "temperature") == {
        "where": "ambient",
        "temperature_degc": pytest.approx(35.0),  # both scales by their fixed points
    }
    pack = '[{"bn":"urn:dev:1:","n":"t","u":"K","v":300},{"n":"w","u":"km/h","v":36}]'
    assert say_until(devices, "senml/mast", pack, work, "weather") == {
        "air_degc": pytest.approx(26.85),
        "wind_m_s": pytest.approx(10.0),
    }
    assert say_until(devices, "van/power", "BAT 24.6V", work, "power") == {
        "source": "battery",
        "voltage_v": 24.6,
    }


def test_a_map_that_never_matches_is_reported(devices: Devices, work: AtWork) -> None:
    work.wait_error("no message for 2 s")

    def said() -> bool:
        devices.say("devices/modem/rx", '{"receiver": {"snr": 137}}')
        return "/receiver/snr" in (work.states[0].error or "")

    wait_until(said, PATIENCE_S, "what there is instead")
    assert work.states[0].state == "failing" and "listen" in (work.states[0].error or "")


def test_other_messages_under_the_filter_do_no_harm(devices: Devices, work: AtWork) -> None:
    say_until(devices, "devices/modem/rx", '{"rx": [{"snr": 137}]}', work, "signal")
    for rubbish in (b"\xff\xfe", b"{}", b"", b"[" * 50_000, b'{"rx": [{"snr": "no"}]}'):
        devices.say("devices/modem/log", rubbish)
    before = len(work.readings("signal"))
    devices.say("devices/modem/rx", '{"rx": [{"snr": 120}]}')
    wait_until(lambda: len(work.readings("signal")) > before, PATIENCE_S, "the next reading")
    work.wait_ok()


def test_a_kept_message_is_no_reading(devices: Devices, mosquitto: Mosquitto, tmp_path: Path) -> None:
    """It may be a day old, and nobody can tell."""
    devices.say("mast/temp", "95", retain=True)
    made = AtWork(collectors_of(config_with(tmp_path, MAPS, broker_section(mosquitto)), {}))
    made.start()
    try:
        say_until(devices, "devices/modem/rx", '{"rx": [{"snr": 137}]}', made, "signal")
        reading = say_until(devices, "mast/temp", "86", made, "temperature")
    finally:
        made.stop()
    assert len(made.readings("temperature")) >= 1
    assert all(one == reading for one in made.readings("temperature"))


def test_the_broker_may_be_restarted(devices: Devices, mosquitto: Mosquitto, work: AtWork) -> None:
    say_until(devices, "devices/modem/rx", '{"rx": [{"snr": 137}]}', work, "signal")
    mosquitto.stop()
    work.wait_error("topic right")
    mosquitto.start()
    devices.close()
    again = Devices(mosquitto.port)
    before = len(work.readings("signal"))

    def said() -> bool:
        again.say("devices/modem/rx", '{"rx": [{"snr": 137}]}')
        return len(work.readings("signal")) > before

    wait_until(said, PATIENCE_S, "readings again")
    again.close()


def test_listen_shows_what_comes_and_what_it_maps_to(
    devices: Devices, mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the broker keeps is heard at once."""
    devices.say("devices/modem/rx", '{"rx": [{"snr": 137}]}', retain=True)
    devices.say("mast/temp", "hot", retain=True)
    devices.say("other/thing", '{"a": {"b/c": 4}}', retain=True)
    devices.say("other/number", "41.5", retain=True)
    devices.say("other/pack", '[{"n": "x", "u": "V", "v": 1}]', retain=True)
    devices.say("other/text", "hello", retain=True)
    devices.say("peakshade/van-1/signal", '{"time": 1784367000, "esno_db": 900}', retain=True)
    config = config_with(tmp_path, MAPS, broker_section(mosquitto)).path
    assert main(["listen", str(config), "--seconds", "2"]) == 1
    said = capsys.readouterr().out
    assert "-> modem: signal esno_db = 13.7" in said
    assert "-> mast: this is no number: 'hot'" in said
    assert '"/a/b~1c" = 4' in said
    assert 'format = "number", sources:' in said and '"value" = 41.5' in said
    assert 'format = "senml"' in said and '"x" = 1' in said
    assert 'format = "text" with a pattern' in said
    assert "refused: signal: esno_db is 900" in said
    assert "FINDING  mast: of 1 messages under mast/temp none fitted" in said
    assert "FINDING  generator: of 0 messages" in said and "FINDING  modem" not in said


def test_listen_without_a_broker_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = config_with(tmp_path, MAPS, "[broker]\nport = 1\n").path
    assert main(["listen", str(config), "--seconds", "1"]) == 2
    assert "peakshade run" in capsys.readouterr().err


TLS_MAP = """
[[inputs.mqtt]]
name = "modem"
topic = "devices/modem"
expect_s = 600.0
host = "127.0.0.1"
port = {port}
tls = true
ca_file = "{ca_file}"
[inputs.mqtt.readings.signal]
esno_db = "/snr"
"""


# paho leaves the socket of a handshake that failed to the garbage collector.
@pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)
def test_a_broker_whose_authority_is_private_is_believed_with_its_file_alone(tmp_path: Path) -> None:
    for name in ("own", "other"):
        command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN=a"
        files = ["-keyout", tmp_path / f"{name}.key", "-out", tmp_path / f"{name}.pem"]
        named = ["-addext", "subjectAltName=IP:127.0.0.1"]
        subprocess.run([*command.split(), *files, *named], check=True, capture_output=True)
    broker = Mosquitto(tmp_path, more=f"certfile {tmp_path}/own.pem\nkeyfile {tmp_path}/own.key\n")
    broker.start()

    def work(ca_file: str) -> AtWork:
        inputs = TLS_MAP.format(port=broker.port, ca_file=ca_file)
        made = AtWork(collectors_of(config_with(tmp_path, inputs), {}))
        made.start()
        return made

    def say() -> None:
        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.tls_set(ca_certs=str(tmp_path / "own.pem"))
        client.connect(LOOPBACK, broker.port)
        client.loop_start()
        client.publish("devices/modem", '{"snr": 9.5}', qos=1).wait_for_publish(PATIENCE_S)
        client.disconnect()
        client.loop_stop()

    trusting, doubting = work("own.pem"), work("other.pem")
    try:

        def both() -> bool:
            say()
            return bool(trusting.readings("signal")) and doubting.states[0].state == "failing"

        wait_until(both, PATIENCE_S, "a reading by the one, a failure of the other")
        assert doubting.published == []
        assert "certificate" in str(doubting.states[0].error).lower()
    finally:
        trusting.stop()
        doubting.stop()
        broker.stop()
