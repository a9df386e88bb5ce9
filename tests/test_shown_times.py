"""What people see is by the clock that was set right, also of the time before that."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent import clock as clock_module
from agent.cli import main
from agent.inputs.messages import rfc3339
from agent.records import ClockChange, Note
from agent.replay.labels import Label
from agent.replay.recording import recorded
from agent.replay.sessions import read_head, read_session, write_session
from agent.report.stored import stored_day
from agent.store.opening import open_for_reading
from agent.store.reader import shown_times
from agent.store.shown import ShownTimes
from dashboard import queries
from dashboard.page_data.day import ESNO
from tests.live import TERMINAL
from tests.test_clock import DAY_S, HOUR_S, NOON_UNIX_S, YEAR_S, Bench

BOOT_UNIX_S = datetime(2000, 1, 1, tzinfo=UTC).timestamp()


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made: list[Bench] = []
    monkeypatch.setattr(clock_module, "steady_s", lambda: made[0].true_unix_s if made else NOON_UNIX_S)
    made.append(Bench(tmp_path / "day.sqlite3"))
    yield made[0]
    made[0].pipeline.close()


def set_right(bench: Bench, wrong_s: float) -> tuple[float, float]:
    """Five minutes of a wrong clock with an alert and a note, then the right one; true start and end."""
    bench.pipeline.close()
    bench.store.unlink()
    bench.wrong_s = wrong_s
    bench.start()
    start_unix_s = bench.true_unix_s
    bench.go(60.0)
    bench.battery = True
    bench.go(120.0)
    bench.hear(Note(unix_s=bench.computer(), kind="rain", id="a"))
    bench.go(120.0)
    bench.wrong_s = 0.0
    bench.go(120.0)
    return start_unix_s, bench.true_unix_s


WRONG_S = [2 * HOUR_S, -2 * HOUR_S, BOOT_UNIX_S - NOON_UNIX_S, 10 * YEAR_S]


@pytest.mark.parametrize("wrong_s", WRONG_S)
def test_charts_notes_and_alerts(bench: Bench, wrong_s: float) -> None:
    start, end = set_right(bench, wrong_s)
    with queries.open_store(bench.store) as store:
        lines = [queries.readings(store, TERMINAL, ESNO, start, end)]
        lines.append(queries.minutes(store, TERMINAL, ESNO, (start - 60.0, end), 60.0))
        history = queries.history(store, TERMINAL, start - 60.0, end)
        (note,) = queries.notes(store, TERMINAL, start, end)
        (latest,) = queries.latest_notes(store, TERMINAL, 3)
        events = queries.events(store, TERMINAL, start, end)
        assert queries.notes(store, TERMINAL, start + wrong_s, end + wrong_s) == ()
    assert len(lines[0].unix_s) == 84
    for found in (*(line.unix_s for line in lines), history.unix_s):
        assert found[0] == pytest.approx(start, abs=60.0)
        assert found[-1] == pytest.approx(end, abs=60.0)
        assert (found[1:] > found[:-1]).all()
    assert note == latest
    assert note.unix_s == pytest.approx(start + 180.0, abs=5.0)
    raised = {one.rule: one.unix_s for one in events if one.state == "raised"}
    assert raised["on-battery"] == pytest.approx(start + 95.0, abs=15.0)


@pytest.mark.parametrize("wrong_s", WRONG_S[1:3])
def test_report_and_record_are_asked_by_the_right_time(bench: Bench, wrong_s: float) -> None:
    start, end = set_right(bench, wrong_s)
    whole = recorded(bench.store, TERMINAL, None, None).session
    asked = recorded(bench.store, TERMINAL, rfc3339(start + 60.0), rfc3339(start + 120.0)).session
    stored = stored_day(bench.store, f"{datetime.fromtimestamp(start, UTC):%Y-%m-%d}", TERMINAL)
    times = whole.times
    assert times.shown(whole.start_unix_s) == pytest.approx(start, abs=10.0)
    assert times.shown(whole.end_unix_s) == pytest.approx(end, abs=10.0)
    assert len(asked.readings) == 24
    assert asked.readings[0] in whole.readings
    assert len(stored.session.readings) == len(whole.readings)
    assert stored.times.shown(stored.session.start_unix_s) == pytest.approx(start, abs=10.0)


def test_replay_tells_the_right_times(
    bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And takes them: of labels, and of a moment to stop at."""
    start, end = set_right(bench, 2 * HOUR_S)
    session = recorded(bench.store, TERMINAL, None, None).session
    engine = session.times.engine
    label = Label(start_unix_s=engine(start + 60.0), end_unix_s=engine(end), cause="power")
    folder = tmp_path / "session"
    write_session(folder, replace(session, labels=(label,)))
    assert rfc3339(start + 60.0)[:19] in (folder / "labels.csv").read_text()
    assert read_session(folder).labels == read_head(folder).labels == (label,)
    assert main(["replay", str(folder), "--json", "--at", rfc3339(start + 150.0)]) == 0
    told = json.loads(capsys.readouterr().out)
    times = {one["rule"]: datetime.fromisoformat(one["time"]).timestamp() for one in told["events"]}
    assert times["on-battery"] == pytest.approx(start + 95.0, abs=15.0)
    assert max(times.values()) <= start + 150.0
    main(["replay", str(folder), "--json"])
    assert json.loads(capsys.readouterr().out)["score"]["on-battery"]["detected"] == 1


@pytest.mark.parametrize("boot_unix_s", [BOOT_UNIX_S, NOON_UNIX_S + 360.0])
def test_yesterday_stays_where_it_was(bench: Bench, boot_unix_s: float) -> None:
    """A computer whose clock stands still while it is off, in 2000 or where it was switched off."""
    bench.go(300.0)
    yesterday = bench.true_unix_s
    bench.true_unix_s += DAY_S
    bench.wrong_s = boot_unix_s - bench.true_unix_s
    bench.restart()
    today = bench.true_unix_s
    bench.go(60.0)
    bench.wrong_s = 0.0
    bench.go(60.0)
    with queries.open_store(bench.store) as store:
        times = [
            queries.readings(store, TERMINAL, ESNO, one - 300.0, one + 200.0).unix_s
            for one in (yesterday, today)
        ]
    assert (len(times[0]), times[0][-1]) == (60, pytest.approx(yesterday, abs=5.0))
    assert (len(times[1]), times[1][-1]) == (24, pytest.approx(today + 120.0, abs=5.0))


def test_a_session_cut_out_after_the_correction_has_the_right_times(bench: Bench) -> None:
    start, end = set_right(bench, 2 * HOUR_S)
    late = recorded(bench.store, TERMINAL, rfc3339(end - 60.0), None).session
    assert late.times.shown(late.start_unix_s) == pytest.approx(end - 60.0, abs=1.0)


changes = st.lists(st.tuples(st.floats(1.0, 1e4), st.floats(-1e5, 1e5), st.booleans()), max_size=6)


@given(changes, st.floats(0.0, 6e4))
def test_there_and_back(steps: list[tuple[float, float, bool]], engine_unix_s: float) -> None:
    """In any course of corrections and restarts; a time that was shown twice is the latter one."""
    unix_s = offset_s = 0.0
    made = []
    for after_s, stepped_s, restarted in steps:
        unix_s, offset_s = unix_s + after_s, offset_s + stepped_s
        made.append(ClockChange(unix_s=unix_s, stepped_s=stepped_s, offset_s=offset_s, restarted=restarted))
    times = ShownTimes(made)
    shown = times.shown(engine_unix_s)
    back = times.engine(shown)
    assert back >= engine_unix_s - 1e-6
    assert times.shown(back) == pytest.approx(shown, abs=1e-6)
    assert any(
        one.start_unix_s - 1e-6 <= engine_unix_s <= one.end_unix_s + 1e-6
        for one in times.within(shown - 1e-6, shown + 1e-6)
    )


def test_every_restart_is_a_row(bench: Bench) -> None:
    bench.go(60.0)
    bench.restart()
    bench.go(60.0)
    with closing(open_for_reading(bench.store)) as connection:
        rows = connection.execute("SELECT stepped_s, offset_s, away_s, restarted FROM clock").fetchall()
        assert shown_times(connection, TERMINAL).is_engine
    assert rows == [(0.0, 0.0, 0.0, 1)]
