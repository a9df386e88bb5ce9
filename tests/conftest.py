"""Settings and fixtures that every test shares."""

import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from playwright.sync_api import Browser, expect, sync_playwright

from agent.config import load_config
from agent.plan.span import days_covering, job_days
from agent.planning.store import load_or_compute_plan, plan_path
from tests.job_text import JOB_TOML
from tests.processes import PATIENCE_S, Mosquitto

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]

# The same examples in every run, and no time limit for one: the machine may be shared.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
# A page on a machine with other work is slow, not wrong.
expect.set_options(timeout=PATIENCE_S * 1000.0)


# What helpers of tests ask says what it found, as tests do.
pytest.register_assert_rewrite("tests.dashboard.looking")

LayPlan = Callable[[Path], None]


@pytest.fixture(scope="session")
def lay_plan(tmp_path_factory: pytest.TempPathFactory) -> LayPlan:
    """Lays the plans of JOB_TOML, of its day and of today, beside a config of that job; computed once."""
    path = tmp_path_factory.mktemp("planned") / "van-1.toml"
    path.write_text(JOB_TOML)
    config = load_config(path, {})
    spans = job_days(config.job), days_covering(config.job, time.time())
    for span in spans:
        load_or_compute_plan(path, config, span)

    def lay(beside: Path) -> None:
        for span in spans:
            shutil.copy(plan_path(path, config.job, span), plan_path(beside, config.job, span))

    return lay


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker of its own for one test."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, driven by Playwright.

    One a module: Playwright keeps an event loop running, in which other modules could not run theirs.
    """
    executable = shutil.which("chromium")
    if executable is None:
        pytest.skip("no chromium binary on the path (Debian package: chromium)")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=executable, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()
