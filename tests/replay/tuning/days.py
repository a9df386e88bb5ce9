"""Made-up sessions for the tests of tuning: hours of the watch's sample day, with acknowledgements put in."""

from collections.abc import Sequence

from agent.records import Acknowledge, AnyReading, ClockChange
from agent.replay.labels import Label
from agent.replay.sessions import Session
from tests.job_text import JOB_TOML
from tests.plan.sample_job import job
from tests.watch.sample_day import FULL_DAY_PASS, at, full_day, in_order, plan

PLAN = plan((FULL_DAY_PASS,))
DAY = in_order([*full_day(), ClockChange(unix_s=at(362.0), stepped_s=-3.0, offset_s=-3.0)])
# What the sample day was made of, as its builder says.
LABELS = (
    Label(start_unix_s=at(30.0), end_unix_s=at(50.0), cause="mispoint", comment="a knock"),
    Label(start_unix_s=at(80.0), end_unix_s=at(88.0), cause="sun-pass"),
    Label(start_unix_s=at(110.0), end_unix_s=at(140.0), cause="rain"),
    Label(start_unix_s=at(160.0), end_unix_s=at(172.0), cause="blockage"),
    Label(start_unix_s=at(190.0), end_unix_s=at(205.0), cause="lan"),
    Label(start_unix_s=at(220.0), end_unix_s=at(235.0), cause="network"),
    Label(start_unix_s=at(280.0), end_unix_s=at(290.0), cause="power"),
)


def session(
    first_minute: float = 0.0,
    last_minute: float = 420.0,
    acknowledged: Sequence[tuple[float, str]] = (),
    every: int = 1,
) -> Session:
    """The sample day between two minutes, every n-th reading of it, acknowledged at (minute, rule).

    Every other time the crew wants ten minutes of quiet.
    """
    start_unix_s, end_unix_s = at(first_minute), at(last_minute)
    heard: list[AnyReading] = [one for one in DAY if start_unix_s <= one.unix_s < end_unix_s][::every]
    heard += [
        Acknowledge(unix_s=at(minute), rule=rule, snooze_s=600.0 if index % 2 else None)
        for index, (minute, rule) in enumerate(acknowledged)
    ]
    return Session(
        title="Invented hours",
        terminal="van-1",
        start_unix_s=start_unix_s,
        end_unix_s=end_unix_s,
        provenance="invented",
        story="",
        config_text=JOB_TOML,
        job=job(),
        readings=in_order(heard),
        labels=tuple(one for one in LABELS if start_unix_s <= one.start_unix_s < end_unix_s),
    )
