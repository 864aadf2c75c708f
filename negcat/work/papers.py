"""Papers drawn from the archive: field sheets, labels, sleeve sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

from negcat import records
from negcat.catalogue import Catalogue
from negcat.errors import NegcatError
from negcat.notation import format_clock
from negcat.papers import (
    Drawn,
    FieldRecord,
    PaperSize,
    SleeveFacts,
    draw_field_sheet,
    draw_labels,
    draw_sleeves,
)
from negcat.papers.figures import decimal
from negcat.work.archive import Archive
from negcat.work.drafting import next_free
from negcat.work.holders import holders as sides_of_holders
from negcat.work.naming import known_sheet
from negcat.work.paper_words import figure, joined, one_line, tag_words
from negcat.work.show import dossier

__all__ = ["MOST_RECORDS", "field_sheet", "labels", "sleeves"]

MOST_RECORDS: Final = 200
"""Records on one field sheet, or labels and sleeves in one file."""

_SIDES: Final = ("A", "B")


# The field sheet --------------------------------------------------------------------------------------------


def field_sheet(
    archive: Archive,
    *,
    size: PaperSize,
    printed: date,
    count: int = 2,
    loaded: bool = False,
    named: Sequence[str] = (),
    first: str | None = None,
) -> Drawn:
    """Draw a field sheet, blank or with what is known of each holder's sides.

    Parameters
    ----------
    archive : the archive, which is only read.
    size : of the paper.
    printed : the day.
    count : blank records, where no holder is asked for.
    loaded : a record for every side that is loaded and not exposed yet.
    named : holders; each gives a record for both its sides.
    first : the id of the first record; the others are counted on, past those that are taken.

    Raises
    ------
    NegcatError : no holder on record is loaded, a sheet of that id is in the archive, or there are too many.
    """
    filled = _named_sides(archive, named)
    if loaded:
        filled += [
            _side(archive, side.holder, side.side, side.film, side.format)
            for side in sides_of_holders(archive)
            if side.state == "loaded" and not any(_same(side.holder, one) for one in named)
        ]
        if not filled:
            raise NegcatError(
                "no holder on record is loaded and unexposed; record what is loaded, under 'holders', or name "
                "holders with --holder"
            )
    rows = filled or [{} for _ in range(count)]
    if len(rows) > MOST_RECORDS:
        raise NegcatError(
            f"{len(rows)} records are more than one file takes; print at most {MOST_RECORDS} at a time"
        )
    ids = _ids(archive.catalogue, first, len(rows)) if first else [""] * len(rows)
    return draw_field_sheet(
        [FieldRecord(sheet=sheet, **row) for sheet, row in zip(ids, rows, strict=True)],
        size=size,
        archive=archive.root.name,
        printed=printed,
    )


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _named_sides(archive: Archive, named: Sequence[str]) -> list[dict[str, str]]:
    """Give both sides of holders; of one on record its own sides, with what is in them unless it is exposed."""
    if not named:
        return []
    known = sides_of_holders(archive)
    rows = []
    for name in dict.fromkeys(holder.strip() for holder in named):
        own = [side for side in known if _same(side.holder, name)]
        if own:
            for side in own:
                film = side.film if side.state == "loaded" else None
                rows.append(_side(archive, side.holder, side.side, film, side.format))
        else:
            rows += [_side(archive, name, side, None, None) for side in _SIDES]
    return rows


def _side(
    archive: Archive, holder: str, side: str, film: str | None, film_format: str | None
) -> dict[str, str]:
    row = {"holder": holder, "side": side, "film": film or "", "format": film_format or ""}
    record = archive.catalogue.film(film) if film else None
    if record is not None:
        row["index"] = f"{record.exposure_index or record.box_speed:g}"
    return row


def _ids(catalogue: Catalogue, first: str, count: int) -> list[str]:
    """Count ids on from the first one, which must be free."""
    data = {"sheet": first, "film": "-", "lens": "-", "stop": "22", "time": "1"}
    try:
        first = records.Sheet.model_validate(data).sheet
    except ValueError:
        raise NegcatError(
            f"'{first}' is no sheet id; write letters A–Z, digits, full stops, dashes and underlines only"
        ) from None
    if catalogue.has_sheet(first):
        free = next_free(first, catalogue.has_sheet)
        raise NegcatError(
            f"sheet '{first}' is in the archive already; the next free id is {free or 'another pattern'}"
        )
    ids = [first]
    while len(ids) < count:
        ids.append(next_free(ids[-1], catalogue.has_sheet))
        if not ids[-1]:
            raise NegcatError(f"no free id follows '{ids[-2]}'; begin with another --first")
    return ids


# Labels and sleeves -----------------------------------------------------------------------------------------


def labels(
    archive: Archive, sheets: Sequence[str], *, size: PaperSize, printed: date, skip: int = 0
) -> Drawn:
    """Draw labels of sheets.

    Parameters
    ----------
    archive : the archive, which is only read.
    sheets : their ids, case aside.
    size : of the paper.
    printed : the day.
    skip : places left free at the beginning of the first page.

    Raises
    ------
    UnknownNameError : no such sheet.
    NegcatError : too many at once.
    """
    facts = [_facts(archive, sheet) for sheet in _few(sheets)]
    return draw_labels(facts, size=size, archive=archive.root.name, printed=printed, skip=skip)


def sleeves(archive: Archive, sheets: Sequence[str], *, size: PaperSize, printed: date) -> Drawn:
    """Draw the sleeve sheets of sheets; as :func:`labels`."""
    facts = [_facts(archive, sheet) for sheet in _few(sheets)]
    return draw_sleeves(facts, size=size, archive=archive.root.name, printed=printed)


def _few(sheets: Sequence[str]) -> list[str]:
    named = list(dict.fromkeys(sheets))
    if len(named) > MOST_RECORDS:
        raise NegcatError(
            f"{len(named)} sheets are more than one file takes; print at most {MOST_RECORDS} at a time"
        )
    return named


def _facts(archive: Archive, sheet: str) -> SleeveFacts:
    whole = dossier(archive, known_sheet(archive.catalogue, sheet).sheet)
    process = _process(whole["development"])
    lens = joined(whole["lens"], whole["cell"] if whole["cell"] != "whole" else "")
    setting = f"f/{str(whole['stop']).removeprefix('f/')} at {_seconds(whole['time'])}"
    film = f"{whole['film']} at {whole['exposure_index']:g}"
    day = _when(whole["exposed_at"])
    tag = tag_words(whole["tag"])
    held = joined(whole["holder"], whole["side"])
    pairs = (
        ("Exposed", day),
        ("Film, index", film),
        ("Format", whole["format"]),
        ("Lens, cell", lens),
        ("Stop and time", setting),
        ("Bellows, mm", figure(whole["bellows_mm"])),
        ("Filter, factor", joined(whole["filter"], _times(whole["filter_factor"]))),
        ("Tag", tag),
        ("Developed", process or "not on record"),
        ("Holder, side", held),
        ("Kept in", whole["location"]),
    )
    return SleeveFacts(
        sheet=whole["sheet"],
        lines=[
            line
            for line in (
                joined(film, tag, mark=" · "),
                joined(day[:10], setting, mark=" · "),
                whole["place"],
                _process(whole["development"], short=True),
                one_line(whole["subject"]),
            )
            if line
        ],
        titles=[title for title in (one_line(whole["subject"]), whole["place"]) if title],
        facts=[(name, str(value)) for name, value in pairs if value],
        readings=[_reading(reading) for reading in whole["readings"]],
        result=_result(whole["result"]),
        notes=one_line(whole["notes"]),
    )


def _reading(reading: Mapping[str, Any]) -> tuple[str, str, str, str]:
    found = "–"
    if reading["print_zone"] is not None:
        found = decimal(reading["print_zone"], 1)
        sd = reading["print_zone_sd"]
        if sd is not None:
            found += f" ± {decimal(sd, 1 if sd >= 0.05 else 2)}"
    return (
        f"{reading['name']}{' (placed)' if reading['placed'] else ''}",
        _zone(reading["given_zone"]),
        _zone(reading["planned_print_zone"]),
        found,
    )


def _zone(value: float | None) -> str:
    return "–" if value is None else decimal(value, 1)


def _result(result: Mapping[str, Any] | None) -> list[str]:
    if result is None or result["verdict"] == "not measured":
        return []
    verdict = str(result["verdict"])
    return [f"{verdict[:1].upper()}{verdict[1:]}.", *result["why"]]


def _process(development: Mapping[str, Any] | None, *, short: bool = False) -> str:
    """Write how a sheet was developed; on a label without dilution and temperature."""
    if development is None:
        return ""
    if short:
        return joined(development["batch"], development["developer"], format_clock(development["time_s"]))
    temperature = development["temperature_c"]
    return joined(
        development["batch"],
        development["developer"],
        development["dilution"],
        f"{format_clock(development['time_s'])} min"
        if development["time_s"] >= 60
        else f"{development['time_s']:g} s",
        "" if temperature is None else f"{temperature:g} °C",
    )


def _seconds(time: str) -> str:
    return f"{time} s" if time[-1].isdigit() else time


def _when(written: str | None) -> str:
    return (written or "").replace("T", " ")


def _times(value: float | None) -> str:
    return "" if value is None else f"× {value:g}"
