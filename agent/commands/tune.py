"""`peakshade tune`: which numbers of the rules would have served better on labelled sessions."""

import argparse
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from agent.errors import UsageError
from agent.replay.replaying import cache_folder
from agent.replay.rules_file import read_rules
from agent.replay.scoring import TARGETS
from agent.replay.session_time import site_clock
from agent.replay.sessions import labelled_folders, read_head
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.choice import OBJECTIVE
from agent.replay.tuning.proposal import rules_toml, words
from agent.replay.tuning.sets import (
    Changes,
    Range,
    full_ranges,
    grid_changes,
    parse_grid,
    parse_vary,
    random_changes,
)
from agent.replay.tuning.sweep import Tuned, tune
from agent.replay.tuning.telling import tuned_json, tuned_text, warning
from agent.replay.tuning.workers import Workers, cluster, in_turn, processes
from agent.watch.rule_set import RuleSet

SUMMARY = "try many rule sets on labelled sessions and propose a rules file"
EXAMPLE = "peakshade tune salt-pan-summer pampa-gusts --grid repeak.raise_db=0.7:1.5:9"
PROPOSED = Path("proposed-rules.toml")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The sessions, what to vary, who works, and what becomes of the result."""
    parser.add_argument(
        "session", nargs="+", metavar="SESSION", help="a labelled session's folder, or a bundled one's name"
    )
    parser.add_argument("--rules", type=Path, metavar="FILE", help="the rules in force (default: built in)")
    parser.add_argument(
        "--grid", action="append", default=[], metavar="RULE.KEY=LOW:HIGH:COUNT",
        help="values to try; several options are combined, each value with each",
    )  # fmt: skip
    parser.add_argument("--random", type=int, default=0, metavar="COUNT", help="random sets to try")
    parser.add_argument("--seed", type=int, default=1, help="of the random sets (default: 1)")
    parser.add_argument(
        "--vary", action="append", default=[], metavar="RULE[.KEY[=LOW:HIGH]]",
        help="what random sets vary (default: every number of the rules that labels can judge)",
    )  # fmt: skip
    parser.add_argument(
        "--false-alarms-per-hour", type=float, metavar="LIMIT",
        help="how many are allowed (default: as many as the rules in force have)",
    )  # fmt: skip
    parser.add_argument(
        "--out", type=Path, default=PROPOSED, help=f"where to write the proposal (default: {PROPOSED})"
    )
    parser.add_argument("--json", action="store_true", help="print the result, with the curve, as JSON")
    parser.add_argument(
        "--workers", type=int, default=os.cpu_count() or 1, help="processes (default: one a core)"
    )
    parser.add_argument(
        "--scheduler", metavar="ADDRESS",
        help="a dask scheduler whose workers see sessions and work folder at the same paths",
    )  # fmt: skip
    parser.add_argument(
        "--work", type=Path, metavar="FOLDER",
        help="keeps each session's results, so that the same command goes on after an interruption"
        " (default: the user's cache)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Tune; 1 where a better set was found and its rules file written."""
    out: Path = args.out
    if out.exists():
        raise UsageError(f"{out}: exists already, and rules are not overwritten; name another with --out")
    folders = labelled_folders(args.session)
    sets = sets_asked(args.grid, args.random, args.seed, args.vary)
    present = read_rules(args.rules)
    work: Path = args.work or cache_folder("tuning")
    try:
        with _workers(args.scheduler, args.workers) as workers:
            bench = Bench(tuple(folders), workers, work.resolve(), sys.stderr)
            tuned = tune(bench, present, sets, args.false_alarms_per_hour)
    except KeyboardInterrupt:
        raise UsageError("interrupted; the same command goes on where it was") from None
    names = [folder.name for folder in folders]
    written = _write(out, tuned, present, names)
    if args.json:
        json.dump(tuned_json(tuned, names, written), sys.stdout, indent=2)
        sys.stdout.write("\n")
    else:
        heads = [read_head(folder) for folder in folders]
        clocks = [site_clock(head.start_unix_s, head.end_unix_s, head.zone) for head in heads]
        sys.stdout.write("\n".join(tuned_text(tuned, names, clocks)) + "\n")
        if written is not None:
            accept = f"rules = {json.dumps(written)}"
            sys.stdout.write(f"{written} written. Read it; who accepts it sets in the config: {accept}\n")
    return 0 if written is None else 1


def sets_asked(grid: Sequence[str], count: int, seed: int, vary: Sequence[str]) -> list[Changes]:
    """The sets that the options ask for; raises UsageError for none, or for rules that no label judges."""
    if not grid and count <= 0:
        raise UsageError("nothing to try; add --grid repeak.raise_db=0.7:1.5:9 or --random 1000")
    judged = [one for rule in TARGETS for one in full_ranges(rule)]
    varied = [one for text in vary for one in parse_vary(text)] or judged
    ranges = [parse_grid(text) for text in grid]
    for chosen in (ranges, varied):
        _check_judged(chosen)
    return [*grid_changes(ranges), *random_changes(varied, count, seed)]


def _check_judged(ranges: Sequence[Range]) -> None:
    for one in ranges:
        rule = one.name.split(".")[0]
        if rule not in TARGETS:
            raise UsageError(
                f"{one.name}: no label says whether {rule} is right, so it cannot be tuned;"
                f" rules that can be: {', '.join(TARGETS)}"
            )
    names = [one.name for one in ranges]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise UsageError(f"{twice}: is varied twice; give each number once")


@contextmanager
def _workers(scheduler: str | None, count: int) -> Iterator[Workers]:
    if scheduler is not None:
        with cluster(scheduler) as workers:
            yield workers
    elif count > 1:
        with processes(count) as workers:
            yield workers
    else:
        yield in_turn


def _write(out: Path, tuned: Tuned, present: RuleSet, names: Sequence[str]) -> str | None:
    """The proposal as a file that did not exist; its name, or None where there is nothing to propose."""
    proposal = tuned.proposal
    if not proposal.changes:
        return None
    heading = [
        "Proposed by peakshade tune; nothing uses it until a person puts it into the config as `rules`.",
        f"Tuned on: {', '.join(names)}.",
        f"Chosen: {OBJECTIVE.format(limit=tuned.limit)}.",
        f"Present rules: {words(proposal.present)}.",
        f"These rules: {words(proposal.proposed)}.",
    ]
    caution = warning(tuned)
    if caution is not None:
        heading.append(f"CAUTION: {caution}")
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(rules_toml(present, proposal, heading))
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error.strerror}); name another with --out") from None
    return str(out)
