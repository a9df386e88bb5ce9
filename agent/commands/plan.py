"""`peakshade plan`: what can be known before the crew leaves."""

import argparse
import json
import os
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.config import load_config
from agent.plan.plan_json import plan_to_json
from agent.plan.present import plan_text
from agent.planning.store import load_or_compute_plan

SUMMARY = "pointing, link budget, sun passes, heat and safety of the job"
EXAMPLE = "peakshade plan van-1.toml --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The config, and how to print."""
    parser.add_argument("config", type=Path, help="the terminal's config file")
    parser.add_argument("--json", action="store_true", help="print the plan as JSON")


def run(args: argparse.Namespace) -> int:
    """Print the plan; 1 where it does not work well or something needs a look."""
    config = load_config(args.config, os.environ)
    plan = load_or_compute_plan(args.config, config)
    if args.json:
        json.dump(plan_to_json(plan), sys.stdout, indent=2)
        sys.stdout.write("\n")
    else:
        sys.stdout.write(plan_text(plan, config.job, ZoneInfo(config.job.site.time_zone)) + "\n")
    return 1 if plan.findings or plan.verdict.answer != "works" else 0
