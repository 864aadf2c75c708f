"""Readings that can't all be true: no verdict is drawn from them."""

from typing import Literal

import pytest

from negcat.judgement import FoundReading, Judgement, judge
from negcat.sensitometry import built_in_target


def reading(
    name: str, zone: float, net: float | None, bound: Literal["denser", "clearer"] | None = None
) -> FoundReading:
    density = None if net is None else net + 0.2
    return FoundReading(name, zone == 3, zone, zone, density, 0.005, net, bound, planned_zone=zone)


def judged(*readings: FoundReading) -> Judgement:
    return judge(readings, target=built_in_target(), n=0.0, decision_stops=0.0)


def test_a_lost_shadow_is_never_called_dense() -> None:
    result = judged(reading("door", 3, 0.01), reading("wall", 5, 1.30))
    assert result.verdict == "unsure"
    assert any("“door” is lost" in sentence for sentence in result.why)


def test_a_lost_shadow_is_never_called_as_planned() -> None:
    result = judged(reading("door", 3, 0.01), reading("wall", 5, 0.70), reading("sky", 7, 1.09))
    assert result.exposure_verdict == "unsure"


def test_a_lost_shadow_of_a_thin_sheet_is_no_contradiction() -> None:
    result = judged(reading("door", 3, 0.02), reading("wall", 5, 0.21), reading("sky", 7, 0.51))
    assert result.exposure_verdict == "thin"
    assert not any("is lost, though" in sentence for sentence in result.why)


@pytest.mark.parametrize(
    "readings",
    [
        (reading("door", 3, None, "denser"), reading("wall", 5, 1.30)),
        (reading("door", 3, 0.35), reading("sky", 7, None, "clearer")),
    ],
)
def test_a_bound_contradicts_too(readings: tuple[FoundReading, ...]) -> None:
    result = judged(*readings)
    assert result.verdict == "unsure"
    assert any("contradict" in sentence for sentence in result.why)


def test_a_bound_on_the_right_side_contradicts_nothing() -> None:
    result = judged(
        reading("water", 1, None, "clearer"),
        reading("door", 3, 0.35),
        reading("wall", 5, 0.70),
        reading("sun", 9.5, None, "denser"),
    )
    assert result.exposure_verdict == "as planned"
