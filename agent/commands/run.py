"""`peakshade run`: the live agent of one terminal."""

import argparse
import os
from functools import partial

from agent.clock import computer_clock
from agent.commands.config_argument import add_config, config_path
from agent.config import Config, load_config
from agent.event_loop import run_until_done, stop_on_signals
from agent.inputs.collectors.running import Inputs
from agent.link_plan import LinkPlan
from agent.plan.span import days_covering
from agent.planning.store import load_or_compute_plan
from agent.replay.rules_file import read_rules
from agent.service.console import event_printer, log_to_terminal, say
from agent.service.live import Agent, Companions, run_agent
from agent.service.outlets import notifier_of
from agent.service.page import serve_page
from agent.service.sole import sole_agent
from agent.service.systemd import tell_systemd

SUMMARY = "watch a real terminal"
EXAMPLE = "peakshade run van-1.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The config, and whether to serve the pages."""
    add_config(parser)
    parser.add_argument("--take-over", action="store_true", help="end the agent that keeps this store first")
    parser.add_argument("--no-dashboard", action="store_true", help="do not serve the pages")


def run(args: argparse.Namespace) -> int:
    """Run until interrupted."""
    config = load_config(config_path(args), os.environ)
    log_to_terminal(config.job.site.time_zone)
    with sole_agent(config, args.take_over):
        agent, companions = _agent(config)
        if not args.no_dashboard:
            companions = {**companions, "page": partial(serve_page, config, agent.clock.speed)}
        run_until_done(_run(agent, companions))
    return 0


def _agent(config: Config) -> tuple[Agent, Companions]:
    """The agent that the config describes, and what runs beside it."""
    clock = computer_clock()
    inputs = Inputs(config, os.environ, clock.shown)
    notifier = notifier_of(config, clock)
    printer = event_printer(config.job.site.time_zone)

    def plan_at(unix_s: float) -> LinkPlan:
        return load_or_compute_plan(config.path, config, days_covering(config.job, unix_s))

    rules = read_rules(config.rules)
    agent = Agent(config, plan_at(clock.now()), rules, clock, printer, inputs, plan_at, notifier)
    companions: Companions = {"systemd": tell_systemd}
    if inputs.states:
        companions = {**companions, "inputs": inputs.run}
    if notifier is not None:
        companions = {**companions, "notify": notifier.run}
    return agent, companions


async def _run(agent: Agent, companions: Companions) -> None:
    stop = stop_on_signals()
    say(f"watching {agent.config.job.terminal}; end with Ctrl-C")
    await run_agent(agent, stop, companions)
