"""A small part of the campaign of bad files, in the way the whole of it runs."""

import pytest

from tests.simulation.mutations import image_case, outcomes, record_case

EACH = 60


@pytest.fixture(scope="module")
def found():
    wanted = [(kind, number) for number in range(1, EACH + 1) for kind in ("image", "record")]
    return list(outcomes(wanted, seed=7))


def test_bad_files_do_no_harm(found):
    assert [str(outcome) for outcome in found if outcome.faults] == []


@pytest.mark.parametrize("kind", ["image", "record"])
def test_some_are_taken_and_some_refused(found, kind):
    taken = [outcome.taken for outcome in found if outcome.kind == kind]
    assert len(taken) == EACH
    assert 0 < sum(taken) < EACH


def test_the_same_seed_makes_the_same_files():
    assert image_case(3, 5) == image_case(3, 5) != image_case(4, 5)
    assert record_case(3, 5) == record_case(3, 5) != record_case(4, 5)
