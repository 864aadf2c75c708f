"""A few of the kills of ``python -m tests.simulation.kills``, which does hundreds."""

from pathlib import Path

from tests.simulation.kills import INGEST, JOBS, RECORD, Job, after, campaign


def test_nothing_is_lost_by_kills(tmp_path: Path) -> None:
    jobs = [
        Job("record, of scans that wait", after(INGEST), RECORD),
        *(job for job in JOBS if job.name in ("init", "find, of an older archive")),
    ]
    said: list[str] = []
    told = campaign(tmp_path, jobs, 7, 3, said.append)
    assert told["faults"] == [], "\n".join(said)
    # Most were at it still when they were stopped.
    assert told["killed"] >= 3
