"""Stored hours become a session whose replay raises what the agent's own pipeline raised live."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from agent.cli import main
from agent.records import KINDS, AlertEvent, AnyReading
from agent.replay.recording import recorded
from agent.replay.replaying import replay_events, session_plan
from agent.replay.session_time import rfc3339_from_unix_s
from agent.replay.sessions import read_session
from agent.service.pipeline import start_pipeline
from agent.store.opening import open_for_reading
from agent.store.reader import events
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules, parse_rules
from tests.job_text import JOB_TOML
from tests.replay.tuning.days import session
from tests.watch.sample_day import at

Output = pytest.CaptureFixture[str]
TOLERANCE_S = 120.0
BATCH = 40
HOURS = (0.0, 240.0)  # minutes of the sample day
RULES = "[repeak]\nhold_s = 300\n"


@pytest.fixture(scope="module", autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Plans go to a folder of this run, shared by its tests."""
    folder = tmp_path_factory.getbasetemp() / "cache"
    with pytest.MonkeyPatch.context() as environment:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
            environment.setenv(name, str(folder))
        yield


@dataclass(frozen=True)
class Live:
    """A store that the agent's pipeline has written, and the events in it."""

    store: Path
    config: Path
    events: Sequence[AlertEvent]


def arrivals(readings: Sequence[AnyReading]) -> Iterator[Arrival]:
    """Messages as they come from the broker, each received when it says; one clock is two hours wrong."""
    kinds = {record: kind for kind, record in KINDS.items()}
    for number, reading in enumerate(readings):
        received_unix_s = reading.unix_s
        kind = kinds[type(reading)]
        claimed = replace(reading, unix_s=received_unix_s - 7200.0) if number == 500 else reading
        yield Arrival(f"peakshade/van-1/{kind}", str(number).encode(), kind, claimed, received_unix_s)


@pytest.fixture(scope="module")
def live(cache: None, tmp_path_factory: pytest.TempPathFactory) -> Live:
    """Four hours, with a rules file and a restart in the middle; ticks every 7 s of silence at the end."""
    folder = tmp_path_factory.mktemp("live")
    config = folder / "van-1.toml"
    config.write_text('rules = "rules.toml"\n' + JOB_TOML, encoding="utf-8")
    (folder / "rules.toml").write_text(RULES, encoding="utf-8")
    day = session(*HOURS)
    plan = session_plan(day)
    store = folder / "peakshade.sqlite3"
    messages = list(arrivals(day.readings))
    half = len(messages) // 2
    for part in (messages[:half], messages[half:]):
        writer = StoreWriter.open(store, "van-1", day.start_unix_s)
        pipeline = start_pipeline(writer, day.job, plan, parse_rules(RULES, "rules.toml"), TOLERANCE_S)
        pipeline.catch_up(0.0)
        for first in range(0, len(part), BATCH):
            pipeline.feed(pipeline.add(part[first : first + BATCH]), 0.0)
        pipeline.save_snapshot()
        pipeline.close()
    writer = StoreWriter.open(store, "van-1", day.start_unix_s)
    pipeline = start_pipeline(writer, day.job, plan, parse_rules(RULES, "rules.toml"), TOLERANCE_S)
    pipeline.catch_up(0.0)
    for tick in range(60):
        pipeline.tick(at(HOURS[1]) + 7.0 * tick, 0.0)
    pipeline.close()
    with closing(open_for_reading(store)) as connection:
        return Live(store, config, events(connection, "van-1"))


def test_the_replay_of_a_recorded_day_gives_the_stored_events(
    live: Live, tmp_path: Path, capsys: Output
) -> None:
    """Word for word, with the no-data alert that only the silence at the end raised."""
    out = tmp_path / "saturday"
    assert main(["record", str(live.config), str(out)]) == 0
    told = capsys.readouterr().out
    assert f"peakshade replay {out} --rules {out / 'rules.toml'}" in told
    day = read_session(out)
    assert day.provenance == "recorded"
    rules = parse_rules((out / "rules.toml").read_text(encoding="utf-8"), "rules.toml")
    replayed, _ = replay_events(day, session_plan(day), rules)
    assert replayed == live.events
    raised = {event.rule for event in replayed}
    assert {"repeak", "wait-rain", "no-data", "clock-wrong"} <= raised
    assert replay_events(day, session_plan(day), default_rules())[0] != replayed


def test_hours_are_cut_to_the_second_and_say_that_they_are_cut(
    live: Live, tmp_path: Path, capsys: Output
) -> None:
    out = tmp_path / "hours"
    # 10:30 to 11:00 in Madrid's summer time is half past eight to nine in UTC, minutes 30 to 60 of the day.
    hours = ["--from", "2026-07-18T10:30", "--to", rfc3339_from_unix_s(at(60.0))]
    assert main(["record", "--store", str(live.store), str(out), *hours, "--title", "A knock"]) == 1
    assert "learns the reference anew" in capsys.readouterr().out
    day = read_session(out)
    assert (day.title, day.start_unix_s, day.end_unix_s) == ("A knock", at(30.0), at(60.0))
    assert all(at(30.0) <= reading.unix_s < at(60.0) for reading in day.readings)
    whole = recorded(live.store, None, None, None).session.readings
    assert list(day.readings) == [one for one in whole if at(30.0) <= one.unix_s < at(60.0)]


def test_the_config_of_the_folder_holds_the_job_and_no_secret(live: Live, tmp_path: Path) -> None:
    config = live.config.parent / "with-broker.toml"
    text = live.config.read_text(encoding="utf-8")
    secret = '[broker]\nhost = "203.0.113.7"\nusername = "nell"\npassword_file = "secret.txt"\n'
    (live.config.parent / "secret.txt").write_text("open sesame", encoding="utf-8")
    config.write_text(text + secret, encoding="utf-8")
    out = tmp_path / "saturday"
    assert main(["record", str(config), str(out)]) == 0
    written = "".join(path.read_text(encoding="utf-8") for path in out.glob("*.toml"))
    for word in ("[broker]", "203.0.113.7", "nell", "secret", "sesame", "sqlite"):
        assert word not in written
    assert read_session(out).job.site.name == "Salt pan, north gate"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--from", "noon"], "--from is 'noon'; expected 2026-07-18T09:00"),
        (["--from", "2026-07-18T12:00", "--to", "2026-07-18T11:00"], "is not after --from"),
        (
            ["--from", "2027-01-01T00:00"],
            "holds no reading of van-1 in these hours; the agent's last word is of",
        ),
        (["--terminal", "van-2"], "has no plan of terminal 'van-2'; it has those of: van-1"),
    ],
)
def test_usage_errors(arguments: list[str], words: str, live: Live, tmp_path: Path, capsys: Output) -> None:
    assert main(["record", "--store", str(live.store), str(tmp_path / "out"), *arguments]) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_no_store_and_both_are_usage_errors(live: Live, tmp_path: Path, capsys: Output) -> None:
    assert main(["record", str(tmp_path / "out")]) == 2
    assert main(["record", str(live.config), str(tmp_path / "out"), "--store", str(live.store)]) == 2
    assert "one of the two" in capsys.readouterr().err
