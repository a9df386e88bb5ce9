"""Never two tests at once, and no more bytes than the day may cost."""

import asyncio
import subprocess
import sys
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from agent.inputs.collectors.frame import CollectorError
from agent.inputs.rates.turn import BudgetSpent, Turn
from tests.live import ROOT

# 2026-07-18T21:59:00Z is a minute before midnight in Madrid.
BEFORE_MIDNIGHT_UNIX_S = 1_784_411_940.0
HOLD = """
import asyncio, sys
from pathlib import Path
from zoneinfo import ZoneInfo
from agent.inputs.rates.turn import Turn

async def hold():
    async with Turn(Path(sys.argv[1]), ZoneInfo("UTC")).take(0.0, 7, 1000):
        print("held", flush=True)
        await asyncio.sleep(60)

asyncio.run(hold())
"""


def turn(folder: Path) -> Turn:
    """A turn at a site in Madrid."""
    return Turn(folder / "tests.json", ZoneInfo("Europe/Madrid"))


async def spend(whose: Turn, unix_s: float, used: int, reserve: int = 100, day: int = 1000) -> None:
    """A test that uses so much."""
    async with whose.take(unix_s, reserve, day) as cost:
        cost.used_bytes = used


def test_the_day_has_a_budget_that_a_restart_does_not_renew(tmp_path: Path) -> None:
    asyncio.run(spend(turn(tmp_path), 0.0, 450))
    asyncio.run(spend(turn(tmp_path), 0.0, 450))
    asyncio.run(spend(turn(tmp_path), 0.0, 1))
    with pytest.raises(BudgetSpent, match="no more tests today"):
        asyncio.run(spend(turn(tmp_path), 0.0, 1))


def test_the_next_day_of_the_site_has_its_own(tmp_path: Path) -> None:
    asyncio.run(spend(turn(tmp_path), BEFORE_MIDNIGHT_UNIX_S, 1000))
    with pytest.raises(BudgetSpent):
        asyncio.run(spend(turn(tmp_path), BEFORE_MIDNIGHT_UNIX_S + 59.0, 0))
    asyncio.run(spend(turn(tmp_path), BEFORE_MIDNIGHT_UNIX_S + 60.0, 1))


def test_a_test_that_fails_costs_what_it_used(tmp_path: Path) -> None:
    async def fail() -> None:
        async with turn(tmp_path).take(0.0, 900, 1000) as cost:
            cost.used_bytes = 5
            raise CollectorError("gone")

    with pytest.raises(CollectorError, match="gone"):
        asyncio.run(fail())
    asyncio.run(spend(turn(tmp_path), 0.0, 1, reserve=995))
    with pytest.raises(BudgetSpent):
        asyncio.run(spend(turn(tmp_path), 0.0, 1, reserve=995))


def test_two_tests_at_once_wait_for_each_other(tmp_path: Path) -> None:
    spans: list[tuple[float, float]] = []

    async def one() -> None:
        async with turn(tmp_path).take(0.0, 1, 1000):
            start_s = time.monotonic()
            await asyncio.sleep(0.05)
            spans.append((start_s, time.monotonic()))

    async def three() -> None:
        await asyncio.gather(one(), one(), one())

    asyncio.run(three())
    spans.sort()
    assert all(before[1] <= after[0] for before, after in zip(spans, spans[1:], strict=False))


def test_another_program_is_waited_for_and_pays_when_it_is_killed(tmp_path: Path) -> None:
    whose = Turn(tmp_path / "tests.json", ZoneInfo("UTC"))
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(whose.path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        assert whose.taken()
    finally:
        holder.kill()
        holder.wait()
        if holder.stdout is not None:
            holder.stdout.close()
    assert not whose.taken()
    asyncio.run(spend(whose, 0.0, 1, reserve=993))
    with pytest.raises(BudgetSpent):
        asyncio.run(spend(whose, 0.0, 1, reserve=993))


@pytest.mark.parametrize("text", ["{", "[]", '{"day": "1970-01-01"}', "\x00\xff"])
def test_a_damaged_file_is_told(tmp_path: Path, text: str) -> None:
    whose = Turn(tmp_path / "tests.json", ZoneInfo("UTC"))
    whose.path.write_text(text, encoding="latin-1")
    with pytest.raises(CollectorError, match="remove it"):
        asyncio.run(spend(whose, 0.0, 1))
