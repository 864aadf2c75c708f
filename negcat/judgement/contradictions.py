"""Readings that can't all be true of one negative: a positive, spots mixed up, the scan of another sheet."""

from collections.abc import Sequence
from math import sqrt

from negcat.exposure import print_zone_of
from negcat.judgement.line import Line
from negcat.judgement.result import FoundReading, JudgedReading
from negcat.judgement.words import quoted
from negcat.notation import format_zone

__all__ = ["falling_densities", "lost_against_line"]

_APART = 0.5  # zones: nearer together, two readings may well measure the other way round
_LOST_BEYOND = 1.0  # zones: a line that puts a lost reading farther up than this can't be the sheet's


def falling_densities(readings: Sequence[FoundReading], zones: Sequence[float | None]) -> list[str]:
    """Say where density falls although exposure rises: a positive, or spots mixed up.

    Parameters
    ----------
    readings : the sheet's readings.
    zones : the exposure zone of each, None where it isn't known.

    Returns
    -------
    A sentence, or none.
    """
    measured = sorted(
        (zone, reading.net_density, reading.sd or 0.0, reading.name)
        for reading, zone in zip(readings, zones, strict=True)
        if zone is not None and reading.net_density is not None
    )
    worst: tuple[float, float, str, str] | None = None
    rises = False
    for i, (zone, net, sd, name) in enumerate(measured):
        for other_zone, other_net, other_sd, other_name in measured[i + 1 :]:
            if other_zone - zone < _APART:
                continue
            drop = net - other_net
            if drop <= 0.05 + 2.0 * sqrt(sd * sd + other_sd * other_sd):
                rises = True
            elif worst is None or drop > worst[0]:
                worst = drop, other_zone - zone, name, other_name
    if worst is None:
        return _past_bounds(readings, zones)
    if not rises and len(measured) > 2:
        return [
            (
                "Every density falls where the exposure rises: this is a positive, "
                "or the scan of another sheet."
            )
        ]
    drop, apart, less, more = worst
    return [
        (
            f"{quoted(more)} was given {apart:.1f} zones more than {quoted(less)} but measures "
            f"{drop:.2f} less: the two spots are mixed up, or this is a positive."
        )
    ]


def _past_bounds(readings: Sequence[FoundReading], zones: Sequence[float | None]) -> list[str]:
    """Say where a spot outside the profile's range stands on the wrong side of one inside it."""
    known = [(zone, reading) for reading, zone in zip(readings, zones, strict=True) if zone is not None]
    for zone, outside in known:
        if outside.bound is None:
            continue
        sign = 1.0 if outside.bound == "denser" else -1.0
        for other_zone, inside in known:
            if inside.net_density is not None and sign * (other_zone - zone) >= _APART:
                return [
                    (
                        f"{quoted(outside.name)} is {outside.bound} than the scanner's profile reaches, though it "
                        f"was given {abs(other_zone - zone):.1f} zones {'less' if sign > 0 else 'more'} than "
                        f"{quoted(inside.name)}: the two spots are mixed up, or this is a positive."
                    )
                ]
    return []


def lost_against_line(
    judged: Sequence[JudgedReading], zones: Sequence[float | None], line: Line, lost_zone: float
) -> list[str]:
    """Say where a lost reading contradicts the line of those that count.

    Parameters
    ----------
    judged : the sheet's readings, held against the target.
    zones : the exposure zone of each, None where it isn't known.
    line : the line of the readings that count, which a lost one doesn't.
    lost_zone : the print zone under which a reading is lost.

    Returns
    -------
    A sentence, or none.
    """
    for reading, zone in zip(judged, zones, strict=True):
        if not reading.lost or zone is None:
            continue
        expected = print_zone_of(zone + line.r, line.n)
        if expected > lost_zone + _LOST_BEYOND:
            return [
                (
                    f"{quoted(reading.name)} is lost, though the readings that count would have it print on zone "
                    f"{format_zone(round(expected, 1))}: look at its spot, and whether this is the scan of "
                    "this sheet."
                )
            ]
    return []
