"""Work done by processes that may die: everything else is done all the same, in order, and nothing twice."""

import os
from concurrent.futures import Executor, Future
from pathlib import Path

import numpy as np
import pytest

from negcat.work.workers import Lost, executor, results
from tests.unit import tasks


def told(outcomes):
    """Write outcomes as they are compared: a lost one by what became of its worker."""
    return [(argument, str(found) if isinstance(found, Lost) else found) for argument, found in outcomes]


@pytest.mark.parametrize("workers", [0, 1, 2])
def test_results_come_in_order(workers):
    with executor(workers) as pool:
        assert list(results(pool, tasks.doubled, range(20))) == [(n, 2 * n) for n in range(20)]
        ((_, found),) = results(pool, tasks.picture, [300])
    assert np.array_equal(found, tasks.picture(300))
    assert found.flags.writeable


def test_work_is_done_elsewhere_and_by_several():
    with executor(0) as pool:
        assert [pid for _, pid in results(pool, tasks.process, range(2))] == [os.getpid()] * 2
    with executor(1) as pool:
        pids = {pid for _, pid in results(pool, tasks.process, range(5))}
    assert len(pids) == 1
    assert os.getpid() not in pids


def test_arguments_are_taken_only_as_far_as_there_is_work():
    taken = []

    def arguments():
        for number in range(100):
            taken.append(number)
            yield number

    with executor(1) as pool:
        outcomes = results(pool, tasks.doubled, arguments(), ahead=3)
        assert next(outcomes) == (0, 0)
        assert len(taken) == 4
        outcomes.close()


def test_one_that_kills_its_worker_twice_is_named_and_the_others_are_done():
    with executor(2) as pool:
        assert told(results(pool, tasks.doubled_if_odd, [1, 3, 2, 5, 4, 7])) == [
            (1, 2),
            (3, 6),
            (2, "crashed (SIGSEGV)"),
            (5, 10),
            (4, "crashed (SIGSEGV)"),
            (7, 14),
        ]


def test_one_whose_worker_is_lost_is_tried_once_more(tmp_path: Path):
    marks = [str(tmp_path / name) for name in "abcde"]
    with executor(2) as pool:
        assert [found for _, found in results(pool, tasks.crashing_once, marks)] == list("abcde")


def test_it_is_tried_again_when_the_others_are_done(monkeypatch: pytest.MonkeyPatch):
    """Where memory ran out because of all of them together, one alone may have enough."""
    begun: list[tuple[str, Future[str]]] = []

    class Stalled(Executor):
        def submit(self, fn, /, *args):
            begun.append((args[0], Future()))
            if len(begun) == 1:
                begun[0][1].set_exception(Lost("crashed"))
            if len(begun) == 3:
                begun[2][1].set_result("a done")
            return begun[-1][1]

    def wait(futures):
        assert futures == [begun[1][1]]
        assert len(begun) == 2
        futures[0].set_result("b done")

    monkeypatch.setattr("negcat.work.workers.wait", wait)
    assert list(results(Stalled(), tasks.doubled, "ab", ahead=1)) == [("a", "a done"), ("b", "b done")]
    assert [argument for argument, _ in begun] == ["a", "b", "a"]


def test_one_that_hangs_is_ended_and_not_tried_again():
    with executor(2, seconds=lambda number: 0.5 if number == 2 else 600.0) as pool:
        outcomes = told(results(pool, tasks.hanging_at_two, range(1, 5)))
    assert outcomes == [(1, 2), (2, "was not done after 0.5 s and was ended"), (3, 6), (4, 8)]


def test_a_worker_meets_its_limit_of_memory_and_lives():
    with executor(1, memory=1 << 30) as pool:
        found = [found for _, found in results(pool, tasks.given_up_without, [2048, 16])]
    assert found == ["too much", "16"]


def test_one_that_needs_more_than_its_share_has_all_memory_alone():
    beyond_any = 1 << 30
    with executor(2, memory=1 << 30) as pool:
        outcomes = told(results(pool, tasks.needing, [16, 1500, beyond_any, 17]))
        assert outcomes == [(16, 16), (1500, 1500), (beyond_any, "ran out of memory"), (17, 17)]
        # Its share is its share again.
        assert told(results(pool, tasks.given_up_without, [1500] * 4)) == [(1500, "too much")] * 4


def test_what_a_task_raises_is_raised():
    for workers in (0, 1):
        with executor(workers) as pool, pytest.raises(ValueError, match="no 3"):
            list(results(pool, tasks.refused, [3]))


def test_workers_end_with_their_executor():
    with executor(2) as pool:
        pids = {pid for _, pid in results(pool, tasks.process, range(4))}
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_an_interruption_ends_a_worker_that_hangs():
    with pytest.raises(KeyboardInterrupt), executor(1) as pool:  # noqa: PT012
        pool.submit(tasks.hanging_at_two, 2)
        raise KeyboardInterrupt
