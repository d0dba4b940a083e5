"""Who does the work of many studies: processes on this machine, or a Dask cluster.

Either way a study goes alone and its rows come back as soon as they are there, in any order.

Imports `capex.errors` and, of this folder, `study_rows`; joblib and dask late.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Any, Final

from capex.decision.risk.study_rows import Row, refusal
from capex.errors import CapexError, InputError

__all__ = ["Task", "Work", "results"]

#: Bytes of a study, draws and seed to its rows, and whether they last.
Work = Callable[[bytes, int, int | None], tuple[list[Row], bool]]
Result = tuple[str, list[Row], bool]

_ANSWERS_WITHIN: Final = 10.0  # the scheduler of a cluster [s]


@dataclass(frozen=True)
class Task:
    """A study to appraise.

    Parameters
    ----------
    key : str
        Of its rows.
    content : bytes
        Of its file.
    count : int
        Draws.
    seed : int or None
    """

    key: str
    content: bytes
    count: int
    seed: int | None


def results(
    tasks: Sequence[Task], work: Work, *, jobs: int | None = 1, dask: str | None = None
) -> Iterator[Result]:
    """Yield key and rows of each task as they come, and whether the rows last.

    Parameters
    ----------
    tasks : sequence of Task
    work : callable
        Of a module, so that other processes can import it.
    jobs : int or None
        Processes on this machine; None for as many as it has cores for this program.
    dask : str, optional
        Address of a scheduler, for example ``tcp://127.0.0.1:8786``; `jobs` is then not used.

    Raises
    ------
    InputError
        Fewer than one job, a cluster that does not answer, or one whose versions are others.
    CapexError
        A process that ended before its study was through.

    Examples
    --------
    >>> def told(content, count, seed):
    ...     return [{"name": content.decode(), "draws": count}], True
    >>> list(results([Task("a", b"shop", 32, None)], told))
    [('a', [{'name': 'shop', 'draws': 32}], True)]
    """
    if jobs is not None and jobs < 1:
        raise InputError("jobs", jobs, "must be at least 1")
    if not tasks:
        return
    if dask is None:
        yield from _on_this_machine(tasks, work, jobs)
    else:
        yield from _on_cluster(tasks, work, dask)


def _done(task: Task, work: Work) -> Result:
    rows, lasting = work(task.content, task.count, task.seed)
    return task.key, rows, lasting


def _on_this_machine(tasks: Sequence[Task], work: Work, jobs: int | None) -> Iterator[Result]:
    from joblib import Parallel, cpu_count, delayed

    processes = min(jobs or cpu_count(), len(tasks))
    # a batch of one: what is finished comes back, and is kept, at once
    pool = Parallel(n_jobs=processes, return_as="generator_unordered", batch_size=1)
    try:
        yield from pool(delayed(_done)(task, work) for task in tasks)
    except BrokenProcessPool as error:
        raise CapexError(
            "A process ended before its study was through, most likely for want of memory: try "
            "fewer jobs. What is finished is kept, and the same command goes on from there."
        ) from error


def _on_cluster(tasks: Sequence[Task], work: Work, address: str) -> Iterator[Result]:
    try:
        import dask.distributed
    except ImportError:
        raise InputError("dask", address, "needs an extra: pip install 'capex[cluster]'") from None
    cluster: Any = dask.distributed
    try:
        client = cluster.Client(address, timeout=_ANSWERS_WITHIN, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError("dask", address, f"is no scheduler that answers ({error})") from None
    with client:
        _check_versions(client, address)
        waiting = {client.submit(_done, task, work, pure=False): task.key for task in tasks}
        for future in cluster.as_completed(list(waiting), loop=client.loop):
            try:
                yield future.result()
            except Exception as error:  # a worker that was lost with its study, again and again
                reason = f"{type(error).__name__}: {error}"
                yield waiting[future], refusal(reason, state="failed"), False


def _check_versions(client: Any, address: str) -> None:
    """Refuse workers whose figures could be others than this machine's."""
    from capex.decision.risk.finished_rows import figures_version

    try:
        found = set(client.run(figures_version).values())
    except Exception as error:  # whatever a worker without the package says
        raise InputError("dask", address, f"has workers without capex ({error})") from None
    if not found:
        raise InputError("dask", address, "has no workers")
    if found != {figures_version()}:
        others = "; ".join(sorted(found))
        bound = f"must have {figures_version()} on every worker, not {others}"
        raise InputError("dask", address, bound)
