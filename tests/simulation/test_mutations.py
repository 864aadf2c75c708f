"""A small part of the campaign of bad files, in the way the whole of it runs."""

from tests.simulation.mutations import image_case, outcomes, record_case

IMAGES, RECORDS = 150, 150


def test_bad_images_do_no_harm():
    found = list(outcomes([("image", number) for number in range(1, IMAGES + 1)], seed=7))
    assert [str(outcome) for outcome in found if outcome.faults] == []
    assert len(found) == IMAGES
    assert 0 < sum(outcome.taken for outcome in found) < IMAGES


def test_bad_records_do_no_harm():
    found = list(outcomes([("record", number) for number in range(1, RECORDS + 1)], seed=7))
    assert [str(outcome) for outcome in found if outcome.faults] == []
    assert len(found) == RECORDS
    assert 0 < sum(outcome.taken for outcome in found) < RECORDS


def test_the_same_seed_makes_the_same_files():
    assert image_case(3, 5) == image_case(3, 5) != image_case(4, 5)
    assert record_case(3, 5) == record_case(3, 5) != record_case(4, 5)
