"""What the plan says before the day is what the watch says during it, on every bundled day."""

from pathlib import Path

import pytest

from agent.replay.replaying import replay_events, session_plan
from agent.replay.sessions import read_session
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules

DAYS = sorted(path for path in (Path(__file__).parents[2] / "replay_data").iterdir() if path.is_dir())
FIRST_S = 60.0


@pytest.mark.parametrize("folder", DAYS, ids=lambda path: path.name)
def test_plan_and_watch_agree_on_the_first_shading_time(folder: Path) -> None:
    session = read_session(folder)
    plan = session_plan(session)
    engine = AlertEngine(session.job, plan, default_rules())
    first_unix_s = session.readings[0].unix_s
    for reading in session.readings:
        if reading.unix_s > first_unix_s + FIRST_S:
            break
        engine.update(reading)
    engine.advance(first_unix_s + FIRST_S)
    now, shade_by_unix_s = engine.situation(), plan.heat.shade_by_unix_s
    if shade_by_unix_s is None:
        assert "until" not in (now.next_event or "") and "Safe unshaded all day." in plan.heat.reason
        return
    assert now.next_event_unix_s == shade_by_unix_s
    assert now.next_event is not None and f"{now.next_event}." in plan.heat.reason


def test_the_storm_day_says_that_the_link_is_down_and_to_leave_the_dish() -> None:
    session = read_session(next(path for path in DAYS if path.name == "mangrove-ka-storms"))
    events, _ = replay_events(session, session_plan(session), default_rules())
    down = [event for event in events if event.rule == "link-down" and event.state == "raised"]
    assert down
    assert all(event.severity == "urgent" and event.cause == "rain" for event in down)
    assert all(event.action.startswith("Rain: wait, leave the dish.") for event in down)
    assert not [event for event in events if event.rule in ("repeak", "look-at-dish")]
