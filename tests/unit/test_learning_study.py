"""A small slice of the study of seasons with known truth; the whole is run by its command."""

import numpy as np

from tests.simulation.seasons import SCENARIOS
from tests.simulation.study import KINDS, judged, summed, table


def test_estimates_come_near_and_intervals_hold_the_truth():
    results = [judged(SCENARIOS["ordinary"], 500 + seed) for seed in range(10)]
    found = summed(results)
    assert set(found) == set(KINDS)
    assert found["exposure index"]["error"] <= 0.12
    assert found["cell"]["error"] <= 0.10
    assert found["exponent"]["error"] <= 0.06
    assert found["time for N+1"]["error"] <= 0.06
    covered = [row[2] for result in results for what in KINDS for row in result.get(what, [])]
    assert 0.85 <= np.mean(covered) <= 0.98
    wrong = [row[4] for result in results for what in KINDS for row in result.get(what, [])]
    assert np.mean(wrong) <= 0.02
    written = table({"ordinary": results})
    assert "## Ordinary" in written
    assert "made 10 times" in written


def test_spoiled_sheets_drag_little_and_sound_ones_are_left_alone():
    results = [judged(SCENARIOS["5 % of sheets spoiled"], 500 + seed) for seed in range(5)]
    found = summed(results)
    assert found["exposure index"]["error"] <= 0.15
    assert found["cell"]["error"] <= 0.10
    spoiled, named, _, false, sheets = np.sum([result["accidents"] for result in results], axis=0)
    assert named >= 0.5 * spoiled
    assert false <= 0.01 * sheets
