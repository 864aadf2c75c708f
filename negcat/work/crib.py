"""What the crib for the bag says: of each film and each cell, gathered from the archive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

from negcat.catalogue import Query
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
from negcat.work.curves import times_from_sheets
from negcat.work.developing import SHEETS_AT_ONCE, times_to_try
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
    learn: bool = False,
) -> Drawn:
    """Draw the crib.

    Parameters
    ----------
    archive : the archive, which is only read.
    size : of the paper.
    printed : the day.
    films, lenses : which, case aside; all of both where none is named.
    learn : learn times from the sheets however many a film has.

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
        [crib_film(archive, equipment, film, learn=learn) for film in names],
        [crib_lens(archive, equipment, lens) for lens in outfits],
        size=size,
        archive=archive.root.name,
        printed=printed,
    )


def crib_film(archive: Archive, equipment: Equipment, name: str, *, learn: bool = False) -> CribFilm:
    """Gather what the crib says of a film, with times learnt from its sheets unless there are too many to wait for."""
    story = film_story(archive, name)
    sheets = archive.catalogue.find(Query(film=name, limit=0)).count
    few = learn or sheets <= SHEETS_AT_ONCE
    reciprocity = story["reciprocity"]
    times = () if reciprocity["law"] in (None, "none") else tuple(_times(equipment, name))
    return CribFilm(
        name=name,
        index=f"{story['exposure_index']:g}",
        box_speed=f"{story['box_speed']:g}",
        law=_law(reciprocity),
        times=times,
        developed=_developed(
            archive, name, story["developments"], times_from_sheets(archive, name) if few else ()
        ),
        left_out=0 if few else sheets,
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
    archive: Archive,
    film: str,
    developments: Sequence[Mapping[str, Any]],
    from_sheets: Sequence[Mapping[str, Any]],
) -> tuple[Developed, ...]:
    """List by tag the times to try, then what was used, then the tags without either."""
    used: dict[float, list[Developed]] = {}
    for one in developments:
        used.setdefault(one["planned_n"], []).append(
            Developed(
                tag=format_tag(one["planned_n"]),
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
    waiting = {parse_tag(group["tag"]).n for group in archive.catalogue.to_develop() if group["film"] == film}
    accepted = {time.tag_n for time in archive.catalogue.advised_times() if time.film == film}
    rows: list[Developed] = []
    for n in sorted({*TAGS, *used, *waiting, *accepted}):
        tag = format_tag(n)
        known = [*_to_try(archive, film, tag, from_sheets), *used.get(n, ())]
        rows += known or [Developed(tag=tag)]
    return tuple(rows)


def _to_try(
    archive: Archive, film: str, tag: str, from_sheets: Sequence[Mapping[str, Any]]
) -> Iterator[Developed]:
    """List the times worked out for a tag, of each process those of the best source: accepted, sheets, film tests."""
    best: dict[tuple[str | None, str | None], str] = {}
    for time in times_to_try(archive, film, tag, None, from_sheets):
        if best.setdefault((time.developer, time.dilution), time.source) != time.source:
            continue
        yield Developed(
            tag=tag,
            developer=time.developer or "developer not on record",
            dilution=time.dilution,
            temperature_c=time.temperature_c,
            time_s=time.time_s,
            low_s=time.low_s,
            high_s=time.high_s,
            sheets=time.sheets,
            source=time.source,
            note=time.note,
        )


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
