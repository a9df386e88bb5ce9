"""`peakshade demo`: a bundled recorded day through broker, agent, store and pages."""

import argparse
import asyncio
import socket
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from agent.clock import Clock, played_clock
from agent.config import (
    DASHBOARD_PORT,
    LOOPBACK,
    BrokerSettings,
    Config,
    DashboardSettings,
    StoreSettings,
    load_config,
)
from agent.errors import UsageError
from agent.event_loop import run_until_done, stop_on_signals
from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.inputs.player import play
from agent.notify import OPEN
from agent.records import AlertEvent, AnyReading
from agent.replay.replaying import session_plan
from agent.replay.session_time import site_moment
from agent.replay.sessions import CONFIG_FILE, Session, read_session, session_folder
from agent.service.console import event_printer, log_to_terminal, say
from agent.service.live import Agent, Companions, run_agent
from agent.service.page import serve_page
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules

SUMMARY = "play a recorded day through broker, agent, store and dashboard"
EXAMPLE = "peakshade demo --session pampa-gusts --from 14:30 --speed 60"

SESSION = "salt-pan-summer"
# Shade and re-peak alerts of the default session come within a minute.
SPEED = 200.0
FASTEST = 2000.0
# So much more slowly it goes while an alert stands that nobody has seen: time to read and answer it.
UNSEEN_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class _Show:
    """What is played: a session, from a moment on, at a speed."""

    session: Session
    config: Config
    start_unix_s: float
    speed: float
    stays: bool


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which day, how fast, and where to serve and to store it."""
    parser.add_argument(
        "--session", default=SESSION, metavar="NAME", help="bundled session or session folder (%(default)s)"
    )
    parser.add_argument("--from", dest="start", metavar="TIME", help="start there: 14:05 at the site")
    parser.add_argument(
        "--speed", type=float, default=SPEED, help="times faster than real time (%(default)g)"
    )
    parser.add_argument("--port", type=int, help=f"of the pages ({DASHBOARD_PORT}, or a free one)")
    parser.add_argument("--mqtt-port", type=int, help="of the broker (a free one)")
    parser.add_argument("--no-dashboard", action="store_true", help="do not serve the pages")
    parser.add_argument("--exit-at-end", action="store_true", help="end when the recorded day is over")
    parser.add_argument("--directory", type=Path, metavar="DIR", help="keep the store there")


def run(args: argparse.Namespace) -> int:
    """Play until interrupted."""
    if not 1.0 <= args.speed <= FASTEST:
        raise UsageError(f"--speed is {args.speed:g}; expected 1 to {FASTEST:g}")
    folder = session_folder(args.session)
    session = read_session(folder)
    start_unix_s = _start(args.start, session)
    with _directory(args.directory) as directory:
        config = _config(folder, directory, args.port or _port(DASHBOARD_PORT), args.mqtt_port or _port(0))
        show = _Show(session, config, start_unix_s, args.speed, stays=not args.exit_at_end)
        run_until_done(_play(show, with_page=not args.no_dashboard))
    return 0


def _start(text: str | None, session: Session) -> float:
    if text is None:
        return session.start_unix_s
    start_unix_s = site_moment(text, session.start_unix_s, session.job.site.time_zone)
    if start_unix_s is None or not session.start_unix_s <= start_unix_s < session.end_unix_s:
        raise UsageError(f"--from is {text!r}; expected a time such as 14:05 at the site, within the session")
    return start_unix_s


@contextmanager
def _directory(given: Path | None) -> Iterator[Path]:
    if given is not None:
        given.mkdir(parents=True, exist_ok=True)
        yield given
        return
    with tempfile.TemporaryDirectory(prefix="peakshade-demo-") as made:
        yield Path(made)


def _config(folder: Path, directory: Path, page_port: int, mqtt_port: int) -> Config:
    """The session's own config with everything it starts on this computer."""
    store = directory / f"{folder.name}.sqlite3"
    if store.exists():
        raise UsageError(f"{store}: exists already; remove it, or name another folder")
    return replace(
        load_config(folder / CONFIG_FILE, {}),
        broker=BrokerSettings(
            embedded=True, host=LOOPBACK, port=mqtt_port, tls=False, username=None, password=None
        ),
        store=StoreSettings(path=store),
        dashboard=DashboardSettings(port=page_port),
    )


def _port(wanted: int) -> int:
    """The wanted port where it is free, else one that the system picks."""
    for port in (wanted, 0):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((LOOPBACK, port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise UsageError(f"no port is free on {LOOPBACK}; end another program")


async def _play(show: _Show, with_page: bool) -> None:
    session, config = show.session, show.config
    say(f"{session.title}: {session.provenance} data, {show.speed:g} times faster. {session.story}")
    say("working out the plan of the day; the first time this takes some ten seconds")
    plan = await asyncio.to_thread(session_plan, session)
    earlier = [one for one in session.readings if one.unix_s < show.start_unix_s]
    await asyncio.to_thread(_store_earlier, config, earlier)
    stop = stop_on_signals()
    clock = played_clock(show.start_unix_s, show.speed, session.end_unix_s)
    log_to_terminal(session.job.site.time_zone, clock.shown)
    pace = Pace(clock, show.speed, UNSEEN_SHARE if with_page else 1.0)
    printer = event_printer(session.job.site.time_zone)
    agent = Agent(config, plan, default_rules(), clock, partial(_hear, printer, pace))
    later = session.readings[len(earlier) :]
    companions: Companions = {"player": partial(_play_to_end, show, later, clock, stop)}
    if with_page:
        companions = {**companions, "page": partial(serve_page, config, show.speed, session.end_unix_s)}
    say(f"readings and notes arrive over MQTT at {LOOPBACK}:{config.broker.port}; end with Ctrl-C")
    await run_agent(agent, stop, companions)


@dataclass(slots=True)
class Pace:
    """The speed of the day: slower, by this share, while somebody should look."""

    clock: Clock
    speed: float
    unseen_share: float
    unseen: set[str] = field(default_factory=set)

    def hear(self, events: Sequence[AlertEvent]) -> None:
        """Alerts come, are seen, and go."""
        for event in events:
            if event.state in OPEN:
                self.unseen.add(event.rule)
            else:
                self.unseen.discard(event.rule)
        wanted = self.speed * (self.unseen_share if self.unseen else 1.0)
        if wanted != self.clock.speed:
            self.clock.run_at(wanted)


def _hear(printer: Callable[[Sequence[AlertEvent]], None], pace: Pace, events: Sequence[AlertEvent]) -> None:
    printer(events)
    pace.hear(events)


async def _play_to_end(show: _Show, later: Sequence[AnyReading], clock: Clock, stop: asyncio.Event) -> None:
    await play(show.config.broker, show.session.terminal, later, clock)
    if show.stays:
        say("the recorded day is over; the pages stay until Ctrl-C")
    else:
        stop.set()


def _store_earlier(config: Config, readings: Sequence[AnyReading]) -> None:
    """What happened before the demo starts is in the store, as if the agent had been there."""
    if not readings:
        return
    terminal = config.job.terminal
    arrivals = [
        Arrival(
            topic=reading_topic(terminal, kind_of(one)),
            payload=to_message(one),
            kind=kind_of(one),
            reading=one,
            received_unix_s=one.unix_s,
        )
        for one in readings
    ]
    writer = StoreWriter.open(config.store.path, terminal, readings[0].unix_s)
    writer.add(arrivals, lambda reading, _: reading)
    writer.close()
