"""Who does the work: this process, processes of this computer, or a dask.distributed cluster."""

import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Protocol, TypeVar

from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.replay.tuning.work import Task

ResultT = TypeVar("ResultT")
CONNECT_S = 15.0


class Workers(Protocol):
    """Yields the results in the order in which they are ready, each with its task's number."""

    def __call__(
        self, work: Callable[[Task], ResultT], tasks: Sequence[Task]
    ) -> Iterator[tuple[int, ResultT]]: ...


def in_turn(work: Callable[[Task], ResultT], tasks: Sequence[Task]) -> Iterator[tuple[int, ResultT]]:
    """One task after the other, in this process."""
    return ((index, work(task)) for index, task in enumerate(tasks))


@contextmanager
def processes(count: int) -> Iterator[Workers]:
    """`count` processes of this computer; an interruption drops the tasks that have not begun.

    Those that have are finished: their results are kept. To be used from the main thread.
    """
    pool = ProcessPoolExecutor(count, get_context("spawn"), initializer=_ignore_interrupts)

    def spread(work: Callable[[Task], ResultT], tasks: Sequence[Task]) -> Iterator[tuple[int, ResultT]]:
        with _no_interrupts():
            numbers = {pool.submit(work, task): index for index, task in enumerate(tasks)}
        return ((numbers[future], future.result()) for future in as_completed(numbers))

    try:
        yield spread
    finally:
        pool.shutdown(cancel_futures=True)


def _ignore_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _no_interrupts() -> Iterator[None]:
    """Around the first submission: it starts the processes, which ignore interrupts only once they run.

    One that comes meanwhile is held back until then; Windows, which holds none back, forgets it.
    """
    if sys.platform == "win32":
        handler = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, handler)
    else:
        blocked = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, blocked)


@contextmanager
def cluster(address: str, connect_s: float = CONNECT_S) -> Iterator[Workers]:
    """The workers of the dask scheduler at `address`, such as tcp://10.0.0.5:8786.

    Session folders and work folder must be at the same paths for all of them, and peakshade installed.
    """
    distributed = module_with_extra("distributed", "--scheduler")
    try:
        client = distributed.Client(address, timeout=connect_s)
    except (OSError, ValueError) as error:
        raise UsageError(
            f"--scheduler {address}: no scheduler answers ({error}); start one with: dask scheduler"
        ) from None
    try:
        client.wait_for_workers(1, connect_s)
    except TimeoutError:
        client.close()
        raise UsageError(
            f"--scheduler {address}: has no worker; start some with: dask worker {address}"
        ) from None

    def spread(work: Callable[[Task], ResultT], tasks: Sequence[Task]) -> Iterator[tuple[int, ResultT]]:
        # Not scattered: data that is scattered is lost with the worker that has it.
        futures = [client.submit(work, task, pure=False) for task in tasks]
        numbers = {future.key: index for index, future in enumerate(futures)}
        for future in distributed.as_completed(futures):
            yield numbers[future.key], future.result()

    with client:
        yield spread
