"""What the crib for the bag says: of each film and each cell, gathered from the archive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

from negcat.catalogue import AdvisedTime, Catalogue
from negcat.errors import QuantityError, UnknownNameError
from negcat.exposure import bellows_stops, pupil_stops
from negcat.notation import format_tag, parse_tag
from negcat.papers import (
    CribCell,
    CribFilm,
    CribLens,
    Developed,
    Drawn,
    Extension,
    Given,
    Marked,
    PaperSize,
    draw_crib,
)
from negcat.reciprocity import given_time
from negcat.work.archive import Archive
from negcat.work.film_story import film_story
from negcat.work.lens_story import lens_story
from negcat.work.naming import known_name
from negcat.work.planning import Equipment

__all__ = ["METERED_S", "TAGS", "crib", "crib_film", "crib_lens"]

METERED_S: Final = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0, 120.0, 240.0)
"""Metered times that the crib answers, in seconds."""

TAGS: Final = (-2.0, -1.0, 0.0, 1.0, 2.0)
"""N of the tags that the crib always lists, whether or not the archive knows a time for them."""

_THIRDS_OF_LOSS: Final = range(1, 10)


def crib(
    archive: Archive,
    *,
    size: PaperSize,
    printed: date,
    films: Sequence[str] = (),
    lenses: Sequence[str] = (),
) -> Drawn:
    """Draw the crib.

    Parameters
    ----------
    archive : the archive, which is only read.
    size : of the paper.
    printed : the day.
    films, lenses : which, case aside; all of both where none is named.

    Raises
    ------
    UnknownNameError : no such film or lens, or the archive holds none of either.
    """
    catalogue = archive.catalogue
    if not films and not lenses:
        films, lenses = catalogue.names("films"), catalogue.names("lenses")
        if not films and not lenses:
            raise UnknownNameError(
                "the archive holds no film and no lens that a crib could tell of; record them with 'negcat record'"
            )
    names = list(dict.fromkeys(known_name(catalogue, "film", film) for film in films))
    outfits = list(dict.fromkeys(known_name(catalogue, "lens", lens) for lens in lenses))
    equipment = Equipment(catalogue)
    return draw_crib(
        [crib_film(archive, equipment, film) for film in names],
        [crib_lens(archive, equipment, lens) for lens in outfits],
        size=size,
        archive=archive.root.name,
        printed=printed,
    )


def crib_film(archive: Archive, equipment: Equipment, name: str) -> CribFilm:
    """Gather what the crib says of a film."""
    story = film_story(archive, name)
    reciprocity = story["reciprocity"]
    times = () if reciprocity["law"] in (None, "none") else tuple(_times(equipment, name))
    return CribFilm(
        name=name,
        index=f"{story['exposure_index']:g}",
        box_speed=f"{story['box_speed']:g}",
        law=_law(reciprocity),
        times=times,
        developed=_developed(archive.catalogue, name, story["developments"]),
    )


def _times(equipment: Equipment, film: str) -> Iterator[Given]:
    try:
        law = equipment.law(film)
    except QuantityError:
        return
    for metered in METERED_S:
        given = given_time(law, metered)
        yield Given(metered, given.seconds, given.extrapolated)


def _law(reciprocity: Mapping[str, Any]) -> str:
    if reciprocity["reason"]:
        return f"Its law of reciprocity can't be used: {reciprocity['reason']}"
    law = reciprocity["law"]
    if law is None:
        return "No law of reciprocity on record: how much more long times need is not known."
    if law == "none":
        return "Recorded as needing nothing for long times."
    if law == "power":
        return f"Power law, exponent {reciprocity['exponent']:g} from {reciprocity['from_s']:g} s."
    return "By its table; between two points a smooth curve."


def _developed(
    catalogue: Catalogue, film: str, developments: Sequence[Mapping[str, Any]]
) -> tuple[Developed, ...]:
    """List by tag what was worked out and accepted, then what was used, then the tags without either."""
    by_n: dict[float, list[Developed]] = {n: [] for n in TAGS}
    for time in _newest_advised(catalogue, film):
        by_n.setdefault(time.tag_n, []).append(
            Developed(
                tag=time.tag,
                developer=time.developer or "developer not on record",
                dilution=time.dilution,
                temperature_c=time.temperature_c,
                time_s=time.time_s,
                low_s=time.low_s,
                high_s=time.high_s,
                sheets=time.sheets,
                advised=True,
            )
        )
    for one in developments:
        by_n.setdefault(one["planned_n"], []).append(
            Developed(
                tag=one["tag"],
                developer=one["developer"],
                dilution=one["dilution"],
                temperature_c=one["temperature_c"],
                time_s=one["time_s"],
                sheets=one["sheets"],
                found_n=one["found_n"]["mean"],
                low_n=one["found_n"]["low"],
                high_n=one["found_n"]["high"],
            )
        )
    for group in catalogue.to_develop():
        if group["film"] == film:
            by_n.setdefault(parse_tag(group["tag"]).n, [])
    return tuple(row for n, rows in sorted(by_n.items()) for row in (rows or [Developed(tag=format_tag(n))]))


def _newest_advised(catalogue: Catalogue, film: str) -> list[AdvisedTime]:
    """List the accepted times of a film, of each developing the one accepted last."""
    newest = {
        (time.developer, time.dilution, time.temperature_c, time.tag_n): time
        for time in catalogue.advised_times()
        if time.film == film
    }
    return list(newest.values())


def crib_lens(archive: Archive, equipment: Equipment, name: str) -> CribLens:
    """Gather what the crib says of a lens."""
    story = lens_story(archive, name)
    return CribLens(
        name=name,
        cells=tuple(_cell(equipment, name, cell) for cell in story["cells"]),
        shutter=story["shutter"],
        times=tuple(
            Marked(time["marked"], time["measured_s"], time["stops"]) for time in story["shutter_times"]
        ),
    )


def _cell(equipment: Equipment, lens: str, cell: Mapping[str, Any]) -> CribCell:
    optics = equipment.optics(lens)
    name = cell["cell"]
    lost = pupil_stops(optics, name)
    correction = None
    if lost.stops is not None:
        correction = -(lost.stops + optics.cells[name].scale_error_stops) + 0.0
    found = cell["residual_stops"]
    return CribCell(
        name=name,
        focal_mm=cell["focal_mm"],
        widest_stop=cell["widest_stop"],
        scale=cell["scale"] if cell["scale"] != name else None,
        correction=correction,
        why=[lost.why] if lost.why else [],
        found=found["mean"],
        low=found["low"],
        high=found["high"],
        sheets=found["count"],
        extensions=tuple(_extensions(cell["focal_mm"], cell["pupil_ratio"] or 1.0)),
    )


def _extensions(focal_mm: float, pupil_ratio: float) -> Iterator[Extension]:
    """Turn the loss of a drawn-out bellows round: the extension at which so many thirds of a stop are lost."""
    for third in _THIRDS_OF_LOSS:
        stops = third / 3
        scale = pupil_ratio * (2 ** (stops / 2) - 1)
        extension = focal_mm * (1 + scale)
        lost = bellows_stops(extension, focal_mm, pupil_ratio).stops
        assert lost is not None  # it is never shorter than the focal length
        yield Extension(-lost, extension, scale)
