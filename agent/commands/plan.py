"""`peakshade plan`: what can be known before the crew leaves."""

import argparse
import json
import os
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.commands.config_argument import add_config, config_path
from agent.config import Config, load_config
from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.inputs.collectors.registry import collectors_of
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_to_json
from agent.plan.present import plan_text
from agent.planning.store import load_or_compute_plan
from agent.sheet.hand_over import stored_hand_over

SUMMARY = "pointing, link budget, sun passes, heat and safety of the job"
EXAMPLE = "peakshade plan van-1.toml --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The config, and how to print."""
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="print the plan as JSON")
    parser.add_argument(
        "--page",
        type=Path,
        metavar="OUT.pdf",
        help="write two pages to print: to carry (with what the agent knows, for the next crew), and budget",
    )


def run(args: argparse.Namespace) -> int:
    """Print the plan; 1 where it does not work well or something needs a look."""
    path = config_path(args)
    config = load_config(path, os.environ)
    plan = load_or_compute_plan(path, config)
    plan = replace(plan, findings=(*plan.findings, *_config_findings(config, time.time())))
    if args.page is not None:
        _write_page(args.page, plan, config)
    if args.json:
        json.dump(plan_to_json(plan), sys.stdout, indent=2)
        sys.stdout.write("\n")
    else:
        sys.stdout.write(plan_text(plan, config.job, ZoneInfo(config.job.site.time_zone)) + "\n")
    return 1 if plan.findings or plan.verdict.answer != "works" else 0


def _write_page(out: Path, plan: LinkPlan, config: Config) -> None:
    """The sheet as PDF; UsageError where a library lacks or the file cannot be written."""
    taken_over = stored_hand_over(config.store.path, config.job.terminal, config.job)
    sheet = module_with_extra("agent.sheet.page", "--page")
    page = sheet.sheet_html(plan, config.job, _rules_words(config), taken_over)
    data = module_with_extra("agent.report.pdf", "--page").pdf_bytes(page)
    try:
        out.write_bytes(data)
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error}); name another file after --page") from None


def _rules_words(config: Config) -> str:
    return "the defaults" if config.rules is None else config.rules.name


def _config_findings(config: Config, now_unix_s: float) -> list[str]:
    """What else will not do on the day: hours that are over, inputs that cannot be read."""
    found = []
    end_unix_s = config.job.day.end_unix_s
    if end_unix_s < now_unix_s:
        end = datetime.fromtimestamp(end_unix_s, UTC).astimezone(ZoneInfo(config.job.site.time_zone))
        found.append(f"The job ended on {end:%d %B %Y} by this computer's clock: is [day] the right one?")
    try:
        collectors_of(config, os.environ)
    except UsageError as error:
        found += str(error).splitlines()
    return found
