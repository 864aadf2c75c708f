"""The kinds of field a record is made of: text, number, yes or no, date, stop, time, tag, zone.

A record file is read as the text it was typed in, so every kind here takes text; real numbers and truth
values (from a web form or an interface) are taken too. What can't be read raises ``ValueError`` with half a
sentence that names what was written and says how to mend it.
"""

import re
import unicodedata
from collections.abc import Callable
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Any, TypeVar

from pydantic import BeforeValidator, Field, PlainSerializer, PlainValidator, WithJsonSchema

from negcat import notation
from negcat.records.film_formats import FORMATS_UNDERSTOOD, film_size_mm

__all__ = [
    "Flag",
    "Format",
    "Name",
    "Note",
    "Number",
    "PageName",
    "ScanId",
    "Seconds",
    "SheetId",
    "StopField",
    "TagField",
    "TimeField",
    "When",
    "ZoneField",
    "one_word",
    "quantity",
    "read_number",
    "read_seconds",
    "shown",
]

MAX_NAME = 200
MAX_NOTE = 20_000
MAX_SHEET_ID = 100
_SCAN_ID = re.compile("[0-9a-f]{12}")

_T = TypeVar("_T")


def quantity(description: str, unit: str, low: float, high: float, example: str) -> Any:
    """Describe a number: what it is, its unit, its least and greatest value, an example."""
    return Field(
        description=f"{description}, {unit}" if unit else description,
        ge=low,
        le=high,
        examples=[example],
        json_schema_extra={"unit": unit} if unit else None,
    )


def shown(value: object) -> str:
    """Quote what was written, cut to a length that a sentence can bear.

    Examples
    --------
    >>> shown("22½½")
    "'22½½'"
    """
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "a blank"
    # of a long text no more is looked at than is shown; blanks at its beginning may be many
    plain = " ".join((value.lstrip()[:400] if isinstance(value, str) else str(value)).split())
    plain = "".join(mark if mark.isprintable() else "�" for mark in plain[:61])
    return f"'{plain}'" if len(plain) <= 60 else f"'{plain[:57]}…'"


# --- text -----------------------------------------------------------------------------------------


def _text(value: object, longest: int) -> str:
    if isinstance(value, str):
        text = value
    elif isinstance(value, int | float) and not isinstance(value, bool):
        text = str(value)
    else:
        raise ValueError(f"{shown(value)} is no text; write a word or a sentence")
    if not text.isascii():
        text = unicodedata.normalize("NFC", text)
    text = text.strip()
    if not text:
        raise ValueError("it is blank; write something or leave the field out")
    if len(text) > longest:
        raise ValueError(f"{shown(text)} has {len(text)} letters; at most {longest} are kept, shorten it")
    return text


def _name(value: object) -> str:
    return _name_in_text(value) if isinstance(value, str) else _text(value, MAX_NAME)


# The same few films, lenses, places and holders stand in every sheet of a season.
@lru_cache(maxsize=65_536)
def _name_in_text(value: str) -> str:
    text = _text(value, MAX_NAME)
    if not text.isprintable():
        text = text.replace("\u00a0", " ").replace("\u202f", " ")
        for mark in text:
            if unicodedata.category(mark) in ("Cc", "Cs", "Zl", "Zp"):
                raise ValueError(
                    f"{shown(text)} holds a line break or another unprintable mark (U+{ord(mark):04X}); "
                    "write it on one line"
                )
    return text


def _page_name(value: object) -> str:
    text = _name(value)
    if text in (".", ".."):
        # Browsers take a path's part of nothing but dots for a way up, however it is written.
        raise ValueError(f"{shown(text)} can't stand in an address; write a name with a letter or a digit")
    return text


def _note(value: object) -> str:
    text = _text(value, MAX_NOTE)
    if not text.isprintable():
        text = text.replace("\r\n", "\n").replace("\r", "\n")
        for mark in text:
            if unicodedata.category(mark) in ("Cc", "Cs") and mark not in "\n\t":
                raise ValueError(f"{shown(text)} holds an unprintable mark (U+{ord(mark):04X}); take it out")
    return text


def _sheet_id(value: object) -> str:
    text = _text(value, MAX_SHEET_ID)
    if not notation.SHEET_ID.fullmatch(text) or not any(mark.isalnum() for mark in text):
        raise ValueError(
            f"{shown(text)} is no sheet id; write letters A–Z, digits, full stops, dashes and underlines only"
        )
    return text


def _scan_id(value: object) -> str:
    text = _text(value, MAX_NAME).casefold()
    if not _SCAN_ID.fullmatch(text):
        raise ValueError(
            f"{shown(text)} is no scan's id; write the first 12 hex digits of its SHA-256, as 'negcat show' "
            "lists them"
        )
    return text


def _format(value: object) -> str:
    text = _name(value)
    if film_size_mm(text) is None:
        raise ValueError(f"{shown(text)} is no format; write for example {FORMATS_UNDERSTOOD}")
    return text


# --- numbers --------------------------------------------------------------------------------------

_PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")


@lru_cache(maxsize=65_536)
def _number_in_text(text: str) -> float:
    # Nearly all are plain decimals, and float() reads them ten times faster.
    return float(text) if _PLAIN_NUMBER.fullmatch(text) else notation.parse_number(text)


def read_number(value: object) -> float:
    """Read a number from text or take one as it is; ``ValueError`` where it is none."""
    if isinstance(value, str):
        return _number_in_text(value.strip())
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            raise ValueError("it is out of all range; look at the figure") from None
    raise ValueError(f"{shown(value)} is no number; write one figure")


def read_seconds(value: object) -> float:
    """Read a measured time: a number of seconds, or with a unit (``2m``); 1/15 is a true fifteenth here."""
    try:
        return read_number(value)
    except ValueError as not_a_number:
        if not isinstance(value, str):
            raise
        try:
            return notation.parse_time(value).seconds
        except ValueError:
            raise not_a_number from None


_YES = frozenset({"true", "yes", "y", "on", "1", "x"})
_NO = frozenset({"false", "no", "n", "off", "0"})


def _flag(value: object) -> bool:
    if isinstance(value, bool):
        return value
    word = str(value).strip().casefold()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise ValueError(f"{shown(value)} is neither yes nor no; write true or false")


# --- dates ----------------------------------------------------------------------------------------

WHEN = re.compile(
    r"(\d{4}-\d{2}-\d{2})"
    r"(?:[Tt ]+(\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?) ?([Zz]|[+\-−]\d{2}:?\d{2}|[+\-−]\d{2})?)?",
    re.ASCII,
)
_FIRST_YEAR, _LAST_YEAR = 1800, 2199


@lru_cache(maxsize=65_536)
def _when_in_text(text: str) -> str:
    match = WHEN.fullmatch(text)
    canonical = None
    if match is not None:
        day, clock, zone = match.groups()
        canonical = day
        if clock:
            canonical = f"{day}T{clock}{_zone_offset(zone)}"
        try:
            year = datetime.fromisoformat(canonical).year
        except ValueError:
            canonical = None
        else:
            if not _FIRST_YEAR <= year <= _LAST_YEAR:
                raise ValueError(f"{shown(text)} lies in the year {year}; write a year from 1800 to 2199")
    if canonical is None:
        raise ValueError(f"{shown(text)} is no date; write 2026-05-03 or 2026-05-03 07:40")
    return canonical


def _zone_offset(zone: str | None) -> str:
    if not zone:
        return ""
    if zone in "Zz":
        return "Z"
    digits = zone[1:].replace(":", "").ljust(4, "0")
    return f"{'+' if zone[0] == '+' else '-'}{digits[:2]}:{digits[2:]}"


def _when(value: object) -> str:
    if isinstance(value, date | datetime):
        value = value.isoformat()
    if isinstance(value, str):
        return _when_in_text(value.strip())
    raise ValueError(f"{shown(value)} is no date; write 2026-05-03 or 2026-05-03 07:40")


# --- what the trade writes ------------------------------------------------------------------------


def _marked(kind: type[_T], parse: Callable[[Any], _T]) -> Callable[[object], _T]:
    """Make a validator for a notation: text or a number is parsed, a value already parsed is kept."""
    # A season repeats a few dozen stops, times and tags many thousand times.
    parse_text = lru_cache(maxsize=16_384)(parse)

    def validate(value: object) -> _T:
        if isinstance(value, str):
            return parse_text(value.strip())
        if isinstance(value, kind):
            return value
        if isinstance(value, int | float) and not isinstance(value, bool):
            return parse(value)
        raise ValueError(f"{shown(value)} can't be read; write one value")

    return validate


def _as_marked(value: notation.Stop | notation.Time | notation.Tag | notation.Zone) -> str:
    return value.text


def _schema(example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": ["string", "number"], "examples": [example]})


_MARKED = PlainSerializer(_as_marked, return_type=str)

Name = Annotated[
    str, PlainValidator(_name), WithJsonSchema({"type": ["string", "number"], "maxLength": MAX_NAME})
]
"""One line of text."""

PageName = Annotated[
    str, PlainValidator(_page_name), WithJsonSchema({"type": ["string", "number"], "maxLength": MAX_NAME})
]
"""The name of what has a page of its own, at an address that ends in it."""

one_word = BeforeValidator(lambda value: value.strip().casefold() if isinstance(value, str) else value)
"""Takes one of a few words in capitals too."""

Note = Annotated[
    str, PlainValidator(_note), WithJsonSchema({"type": ["string", "number"], "maxLength": MAX_NOTE})
]
"""Text of any number of lines."""

SheetId = Annotated[
    str,
    PlainValidator(_sheet_id),
    WithJsonSchema({"type": ["string", "number"], "pattern": "^[A-Za-z0-9._-]+$", "maxLength": MAX_SHEET_ID}),
]
"""The id of a sheet."""

ScanId = Annotated[
    str,
    PlainValidator(_scan_id),
    WithJsonSchema({"type": ["string", "number"], "pattern": "^[0-9A-Fa-f]{12}$"}),
]
"""The id of a scan."""

Format = Annotated[str, PlainValidator(_format), WithJsonSchema({"type": "string"})]
"""A film format, kept as written; :func:`~negcat.records.film_size_mm` gives its size."""

Number = Annotated[float, BeforeValidator(read_number)]
"""A number: decimal, or with a fraction (½, 1 1/3)."""

Seconds = Annotated[float, BeforeValidator(read_seconds)]
"""A duration in seconds."""

Flag = Annotated[bool, PlainValidator(_flag), WithJsonSchema({"type": ["boolean", "string"]})]
"""Yes or no."""

When = Annotated[str, PlainValidator(_when), WithJsonSchema({"type": "string"})]
"""A date or a date and time by ISO 8601, ``T`` between the two, with or without a zone."""

StopField = Annotated[
    notation.Stop, PlainValidator(_marked(notation.Stop, notation.parse_stop)), _MARKED, _schema("22 1/2")
]
"""A stop, its marked text kept."""

TimeField = Annotated[
    notation.Time, PlainValidator(_marked(notation.Time, notation.parse_time)), _MARKED, _schema("1/15")
]
"""A time, its marked text kept."""

TagField = Annotated[
    notation.Tag, PlainValidator(_marked(notation.Tag, notation.parse_tag)), _MARKED, _schema("N+1")
]
"""A development tag in its canonical text."""

ZoneField = Annotated[
    notation.Zone, PlainValidator(_marked(notation.Zone, notation.parse_zone)), _MARKED, _schema("III")
]
"""A zone, its marked text kept."""
