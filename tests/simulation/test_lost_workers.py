"""One of the runs of ``python -m tests.simulation.lost_workers``, which does many."""

from pathlib import Path

from tests.simulation.lost_workers import campaign


def test_nothing_is_lost_with_a_worker(tmp_path: Path) -> None:
    said: list[str] = []
    told = campaign(tmp_path, 1, 2, said.append)
    assert told["faults"] == [], "\n".join(said)
    assert told["killed"] >= 1
