"""What the check before the job says of who can reach the broker, against a real one."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import SecretStr

from agent.config import BrokerSettings
from agent.inputs import exposure
from agent.inputs.broker.serving import embedded_broker
from agent.inputs.exposure import what_is_open
from tests.live import config_for, embedded_at
from tests.processes import free_port


def said_of(broker: BrokerSettings, folder: Path) -> tuple[bool, str]:
    """The sentence about the broker."""
    return asyncio.run(what_is_open(config_for(folder / "day.sqlite3", broker)))[0]


def test_on_this_computer_nothing_is_open(tmp_path: Path) -> None:
    assert said_of(embedded_at(1883), tmp_path) == (
        True,
        "broker 127.0.0.1:1883: only programs on this computer reach it",
    )


def test_the_own_broker_beyond_it(tmp_path: Path) -> None:
    broker = replace(embedded_at(1883), host="0.0.0.0", username="crew", password=SecretStr("salt-pan"))
    fine, text = said_of(broker, tmp_path)
    assert fine and "'crew'" in text and "not encrypted" in text


@pytest.mark.parametrize("username", [None, "crew"])
def test_who_comes_without_a_name(
    username: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real broker with and without an account, on an address that counts as another computer's."""
    monkeypatch.setattr(exposure, "is_this_computer", lambda host: False)

    async def test() -> list[tuple[bool, str]]:
        secret = None if username is None else SecretStr("salt-pan")
        own = replace(embedded_at(free_port()), username=username, password=secret)
        async with embedded_broker(own, lambda topic: False):
            return await what_is_open(config_for(tmp_path / "day.sqlite3", replace(own, embedded=False)))

    (fine, text), _ = asyncio.run(test())
    assert fine == (username is not None)
    assert ("init --mosquitto" in text) == (username is None)


@pytest.mark.parametrize(("certificate", "words"), [(None, "not encrypted"), ("pages.pem", "encrypted")])
def test_pages_beyond_this_computer(certificate: str | None, words: str, tmp_path: Path) -> None:
    config = config_for(tmp_path / "day.sqlite3", embedded_at(1883))
    pages = replace(config.dashboard, host="0.0.0.0", certificate=certificate)
    fine, text = asyncio.run(what_is_open(replace(config, dashboard=pages)))[1]
    assert fine
    assert text.partition("passcode, ")[2].partition(":")[0] == words
