"""Formats of film and plates."""

import pytest

from negcat.records import film_size_mm


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("4x5", (101.6, 127.0)),
        ("5×4", (127.0, 101.6)),
        ('8 x 10"', (203.2, 254.0)),
        ("4x5in", (101.6, 127.0)),
        ("9x12", (90.0, 120.0)),
        ("9x12cm", (90.0, 120.0)),
        ("13x18 cm", (130.0, 180.0)),
        ("18X24", (180.0, 240.0)),
        ("100x125mm", (100.0, 125.0)),
        ("6 1/2 x 8 1/2", (165.1, 215.9)),
        ("2¼x3¼", (57.15, 82.55)),
        ("Whole Plate", (165.1, 215.9)),
        ("half-plate", (120.65, 165.1)),
    ],
)
def test_size_in_the_order_written(text, size):
    assert film_size_mm(text) == pytest.approx(size)


@pytest.mark.parametrize(
    "text", ["10x12", "large", "4x", "x5", "4x5cm x 6", "0x5in", "400x500in", "4cm x 5in", ""]
)
def test_what_is_open_or_no_format_has_no_size(text):
    assert film_size_mm(text) is None
