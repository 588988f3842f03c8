"""Many traces of one thread each, on a pool of threads: a kernel runs without Python's lock, so one builds while others trace."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import TypeVar

from underlit.backends.cpu import available_threads

Asked = TypeVar("Asked")
Answer = TypeVar("Answer")


def each_done(
    work: Callable[[Asked], Answer], asked: Sequence[Asked], threads: int | None = None
) -> Iterator[tuple[int, Answer]]:
    """The index of each thing asked and its answer, in the order they are done.

    threads: by default the processors this process may use. Leaving the iteration early, by Ctrl-C too, starts no further
    work; what is under way is dropped.
    """
    pool = ThreadPoolExecutor(threads or available_threads())
    try:
        futures = {pool.submit(work, one): index for index, one in enumerate(asked)}
        for future in as_completed(futures):
            yield futures[future], future.result()
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def all_done(
    work: Callable[[Asked], Answer],
    asked: Sequence[Asked],
    threads: int | None = None,
    tell: Callable[[int, int], None] = lambda done, total: None,
) -> list[Answer]:
    """The answers in the order of what was asked. tell: called with how many are done and all of them."""
    found = {}
    for index, answer in each_done(work, asked, threads):
        found[index] = answer
        tell(len(found), len(asked))
    return [found[index] for index in range(len(asked))]
