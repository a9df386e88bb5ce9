"""A small invented session that the tests of this folder write, change and read."""

from pathlib import Path

from agent.records import AnyReading, Note, Power, Signal, Temperature, Throughput, Weather
from agent.replay.job_toml import job_toml
from agent.replay.labels import Label
from agent.replay.sessions import Session
from tests.plan.sample_job import job

START_UNIX_S = job().day.start_unix_s


def readings() -> list[AnyReading]:
    """One of each kind at the same second, in the engine's order, and some later."""
    at = START_UNIX_S + 60.0
    return [
        Note(unix_s=at, kind="peak-done", by="Nell", text='says "fine", at last\nand "=1+1"'),
        Power(unix_s=at, source="battery", battery_percent=80.0, runtime_s=3600.0),
        Weather(unix_s=at, air_degc=31.5, gust_m_s=0.1 + 0.2),
        Temperature(unix_s=at, where="transmitter", temperature_degc=48.1),
        Signal(unix_s=at, esno_db=14.3, locked=True, extra={"lnb": 2, "note": "12", "deep": {"a": [None]}}),
        Throughput(unix_s=at, method="active", down_mbps=3.5, bytes_used=12, flows=4),
        Signal(unix_s=at + 1.0, esno_db=14.2, locked=False),
        Signal(unix_s=at + 1.2345678, esno_db=-1.5, sent_unix_s=at - 3600.0),
    ]


def session(labels: tuple[Label, ...] | None = ()) -> Session:
    """The session of these readings."""
    return Session(
        title='A "short" day \\ dünes',
        terminal="van-1",
        start_unix_s=START_UNIX_S,
        end_unix_s=START_UNIX_S + 3600.0,
        provenance="invented",
        story="Two lines,\nand a delete character: \x7f.",
        config_text=job_toml(job(), "Invented."),
        job=job(),
        readings=readings(),
        labels=labels,
    )


def replace_in(path: Path, old: str, new: str) -> None:
    """Change a text file; the old text must be there."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
