"""`peakshade init --mosquitto`: a real Mosquitto runs with the files that it writes, and keeps to them."""

import asyncio
import re
import socket
import ssl
import stat
import subprocess
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import aiomqtt
import pytest
from pydantic import SecretStr

from agent.cli import main
from agent.config import LOOPBACK, BrokerSettings, load_config
from agent.inputs.mosquitto import CERTIFICATE, CONFIG
from agent.inputs.mqtt import publishing_client, tls_parameters
from tests.job_text import JOB_TOML
from tests.processes import PATIENCE_S, Mosquitto, free_port

pytestmark = pytest.mark.mosquitto
READINGS = 500


class Installed:
    """A Mosquitto with the files of `init`."""

    def __init__(self, folder: Path, section: str) -> None:
        self.folder = folder
        self.port = int(tomllib.loads(section)["broker"]["port"])
        self.broker = Mosquitto.of(folder / CONFIG, self.port)
        (folder.parent / "with-broker.toml").write_text(JOB_TOML + section)
        self.agent = load_config(folder.parent / "with-broker.toml", {}).broker
        password = (folder / "van-1-device.password").read_text().strip()
        self.device = replace(self.agent, username="van-1-device", password=SecretStr(password))


@pytest.fixture
def installed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Installed]:
    """Written by the command, and started."""
    config = tmp_path / "van-1.toml"
    config.write_text(JOB_TOML)
    folder = tmp_path / "broker"
    options = ["--mosquitto", str(folder), "--broker-host", LOOPBACK, "--broker-port", str(free_port())]
    assert main(["init", str(config), *options]) == 0
    printed = capsys.readouterr().out
    installed = Installed(folder, printed[printed.index("[broker]") :])
    installed.broker.start()
    yield installed
    installed.broker.stop()


async def payloads_of(client: aiomqtt.Client, count: int) -> list[bytes]:
    """So many messages."""
    async with asyncio.timeout(PATIENCE_S):
        return [bytes((await anext(client.messages)).payload) for _ in range(count)]


def listener(broker: BrokerSettings, name: str) -> aiomqtt.Client:
    """With a session that the broker keeps."""
    assert broker.password is not None
    return aiomqtt.Client(
        broker.host,
        broker.port,
        identifier=name,
        username=broker.username,
        password=broker.password.get_secret_value(),
        tls_params=tls_parameters(broker),
        clean_session=False,
    )


def test_a_device_may_publish_its_terminal_s_measurements_and_nothing_else(installed: Installed) -> None:
    async def test() -> None:
        async with (
            listener(installed.agent, "agent") as agent,
            publishing_client(installed.device, PATIENCE_S) as device,
        ):
            await agent.subscribe("#", qos=1)
            await device.subscribe("peakshade/van-1/alert/+", qos=1)
            for topic in (
                "peakshade/van-1/status",
                "peakshade/van-1/alert/shade",
                "peakshade/van-1/note",
                "peakshade/van-1/acknowledge",
                "peakshade/van-2/signal",
                "home/lamp",
            ):
                await device.publish(topic, b"forbidden", qos=1)
            await device.publish("peakshade/van-1/signal", b"allowed", qos=1)
            await agent.publish("peakshade/van-1/alert/shade", b"shade it", qos=1, retain=True)
            assert await payloads_of(agent, 2) == [b"allowed", b"shade it"]
            assert await payloads_of(device, 1) == [b"shade it"]

    asyncio.run(test())


def test_nobody_comes_in_without_account_and_certificate(installed: Installed, tmp_path: Path) -> None:
    other = tmp_path / "other.pem"
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN=x"
    subprocess.run([*command.split(), "-keyout", "/dev/null", "-out", other], check=True, capture_output=True)

    async def test(broker: BrokerSettings) -> None:
        with pytest.raises(aiomqtt.MqttError):
            async with publishing_client(broker, PATIENCE_S):
                pass

    for broker in (
        replace(installed.device, username=None, password=None),
        replace(installed.device, password=SecretStr("guessed")),
    ):
        asyncio.run(test(broker))
    for authority in (None, other):
        trusted = tls_parameters(replace(installed.device, ca_file=authority))
        assert trusted is not None
        context = ssl.create_default_context(cafile=trusted.ca_certs)
        with (
            socket.create_connection((LOOPBACK, installed.port)) as plain,
            pytest.raises(ssl.SSLCertVerificationError),
            context.wrap_socket(plain, server_hostname=LOOPBACK),
        ):
            pass


def test_what_was_acknowledged_survives_a_killed_broker(installed: Installed) -> None:
    """The agent is away, and the broker is killed at once after its last answer.

    It answers first and writes at the end of its turn: of that turn's messages, here the last, it may know
    nothing.
    """

    acknowledged: list[int] = []

    async def fill() -> None:
        async with listener(installed.agent, "agent") as agent:
            await agent.subscribe("peakshade/van-1/+", qos=1)
        with suppress(aiomqtt.MqttError):
            async with publishing_client(installed.device, 5.0) as device:
                for number in range(READINGS):
                    await device.publish("peakshade/van-1/signal", b"%d" % number, qos=1)
                installed.broker.kill()
                acknowledged.append(READINGS)

    async def drain() -> list[bytes]:
        async with listener(installed.agent, "agent") as agent:
            found = await payloads_of(agent, READINGS - 1)
            await agent.publish("peakshade/van-1/status", b"end", qos=1)
            return [*found, *await payloads_of(agent, 1)]

    asyncio.run(fill())
    assert acknowledged == [READINGS]
    installed.broker.start()
    *found, last = asyncio.run(drain())
    assert found == [b"%d" % number for number in range(READINGS - 1)]
    assert last in (b"end", b"%d" % (READINGS - 1))


def test_secrets_are_the_owner_s_alone(installed: Installed, capsys: pytest.CaptureFixture[str]) -> None:
    for path in installed.folder.iterdir():
        if path.name != CERTIFICATE:
            assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path.name
    text = (installed.folder / "accounts").read_text()
    # mosquitto_passwd's form, as its manual page and source have it: $7$, turns, salt, hash.
    assert re.fullmatch(r"(van-1-(agent|device):\$7\$\d+\$[\w+/=]+\$[\w+/=]+\n){2}", text)
    config = installed.folder.parent / "van-1.toml"
    assert main(["init", str(config), "--mosquitto", str(installed.folder)]) == 2
    assert "cannot be made" in capsys.readouterr().err
