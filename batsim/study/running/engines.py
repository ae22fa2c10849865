"""Where chunks of jobs run: one process for each core, or the workers of a cluster; both are executors."""

import logging
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing.connection import wait
from types import ModuleType
from typing import Any, Protocol

from batsim.errors import StudyError
from batsim.study.running.jobs import Job, Parcel, failed, run_chunk

PATIENCE = "10s"
"""Time that a scheduler has to answer."""
LOOK_EVERY_S = 2.0
"""Time after which the workers of a cluster are counted anew."""
_GOODBYE_S = 5.0
"""Time that a pool has to end when its processes are gone."""
AGAIN = "run the same command again when there is one"
DASK_NEEDED = "needs the extra 'cluster': pip install 'batsim[cluster]'"


class Engine(Protocol):
    """Something that runs chunks of jobs."""

    @property
    def width(self) -> int:
        """Chunks at work at the same time."""

    def open(self) -> Executor:
        """Start it."""

    def close(self, executor: Executor, *, stop: bool) -> None:
        """End it; with `stop` whatever is still at work is of no use to anybody."""

    def apart(self, parcel: Parcel, jobs: list[Job]) -> list[Any] | None:
        """Run a chunk where it can harm no other; None when its worker is lost with it."""


class Processes:
    """Processes of this machine."""

    def __init__(self, workers: int) -> None:
        self.width = workers

    def open(self) -> Executor:
        """Start the processes."""
        return _pool(self.width)

    def close(self, executor: Executor, *, stop: bool) -> None:
        """End them."""
        children = getattr(executor, "_processes", None) if stop else None  # its own; the caller may have others
        mine = list((children or {}).values())
        manager = getattr(executor, "_executor_manager_thread", None)
        executor.shutdown(wait=not stop, cancel_futures=True)
        for child in mine:
            child.terminate()
        if manager is not None:
            manager.join(_GOODBYE_S)  # or it may close its pipe just when the interpreter, at its end, writes to it

    def apart(self, parcel: Parcel, jobs: list[Job]) -> list[Any] | None:
        """Run a chunk in a process of its own."""
        pool = _pool(1)
        try:
            with quiet_start():
                future = pool.submit(run_chunk, parcel, jobs)
            return future.result()[1]
        except (KeyboardInterrupt, SystemExit):
            self.close(pool, stop=True)
            raise
        except BrokenExecutor:
            return None
        except Exception as error:  # such as a result that cannot be sent back
            return None if len(jobs) > 1 else [failed(error)]
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


class Cluster:
    """Workers of a running Dask scheduler."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client  # noqa: PLC0415 - heavy, and an extra
        except ImportError as error:
            msg = f"--scheduler {DASK_NEEDED}"
            raise StudyError(msg) from error
        for name in ("distributed", "distributed.client"):  # their traces; what matters is said here
            logging.getLogger(name).setLevel(logging.CRITICAL)
        connect: Any = Client  # it has no types
        try:
            self._client = connect(address, timeout=PATIENCE, set_as_default=False)
            self._width, self._looked_s = self._threads(), time.monotonic()
        except (OSError, ValueError, TypeError) as error:
            msg = f"--scheduler: no Dask scheduler answers at {address}"
            raise StudyError(msg) from error
        self._address = address

    def _threads(self) -> int:
        """Threads of all workers that are there."""
        threads: dict[str, int] = self._client.nthreads()
        return max(1, sum(threads.values()))

    @property
    def width(self) -> int:
        """Threads of its workers; they come and go, so they are counted anew now and then."""
        if self._client.status == "running" and time.monotonic() - self._looked_s > LOOK_EVERY_S:
            with suppress(OSError, TimeoutError):  # of a scheduler that is about to go; what is at work there tells it
                self._width = self._threads()
            self._looked_s = time.monotonic()
        return self._width

    def open(self) -> Executor:
        """Its workers, as an executor."""
        executor: Executor = self._client.get_executor(pure=False, retries=0)
        return executor

    def close(self, executor: Executor, *, stop: bool) -> None:
        """Leave the workers to others."""
        executor.shutdown(wait=not stop)
        self._client.close()

    def apart(self, parcel: Parcel, jobs: list[Job]) -> list[Any] | None:
        """Run a chunk alone; the scheduler puts it elsewhere when its worker is lost, up to its own limit."""
        from distributed import KilledWorker  # noqa: PLC0415 - heavy, and an extra

        future = self._client.submit(run_chunk, parcel, jobs, pure=False)
        while self._client.status == "running":
            try:
                result: tuple[float, list[Any]] = future.result(timeout=PATIENCE)
            except TimeoutError:
                continue
            except (KilledWorker, CancelledError):
                return None
            except Exception as error:  # such as a result that cannot be sent back
                return None if len(jobs) > 1 else [failed(error)]
            else:
                return result[1]
        msg = f"--scheduler: the Dask scheduler at {self._address} is gone; what is finished is kept: {AGAIN}"
        raise StudyError(msg)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _pool(workers: int) -> ProcessPoolExecutor:
    """Make a pool whose processes start clean, without what this one holds."""
    method = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    if method == "forkserver":
        context.set_forkserver_preload(["batsim.study.running.jobs"])
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_end_with_parent)


def _end_with_parent() -> None:
    """Let this process end when the one that started it is gone, however that went."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def quiet_start() -> Iterator[None]:
    """Start processes that leave an interrupt (Ctrl-C) to this one and do not run the caller's script again.

    Without the second, a script that calls batsim without a guard for `__main__`, or comes from standard input,
    would break the pool.
    """
    main = sys.modules["__main__"]
    mask = getattr(signal, "pthread_sigmask", None) if threading.current_thread() is threading.main_thread() else None
    before = mask(signal.SIG_BLOCK, {signal.SIGINT}) if mask is not None else None
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        if mask is not None:
            with suppress(ValueError):
                mask(signal.SIG_SETMASK, before)
