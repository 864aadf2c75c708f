"""What a file's tags say: who scanned it, when, how finely, and every text that may name the sheet."""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from xml.etree import ElementTree

from negcat.scans.icc import icc_exponent, icc_tag, icc_text

__all__ = ["LARGEST_FILM_MM", "TEXT_LENGTH", "Facts", "facts", "orientation_of"]

LARGEST_FILM_MM = 700.0
"""No sheet film is longer (20 × 24 inches is 610 mm). A dpi that would make it so is a program's filler."""

DPI_RANGE = (50.0, 20_000.0)

TEXT_LENGTH = 4000
"""Characters of a text that are kept."""

TEXT_BYTES = 4 * TEXT_LENGTH
"""Bytes of a text that are looked at."""

MOST_TEXTS = 100
"""Texts that are kept of one file."""

DESCRIPTIONS = (
    "ImageDescription",
    "DocumentName",
    "PageName",
    "XPTitle",
    "XPSubject",
    "XPComment",
    "UserComment",
)


@dataclass(frozen=True)
class Facts:
    """What the tags come to; see `ScanHeader` for the meaning of each."""

    make: str | None
    model: str | None
    software: str | None
    description: tuple[str, ...]
    taken_at: str | None
    dpi: float | None
    colour_profile: str | None
    exponent: float | None
    notes: tuple[str, ...]


def orientation_of(found: object, notes: list[str]) -> int:
    """Tell how the picture is turned, 1 to 8; 1 and a note where the tag says nothing that means something."""
    if isinstance(found, int) and 1 <= found <= 8:
        return found
    said = f" {found}" if isinstance(found, int) else ""
    notes.append(f"orientation{said} means nothing; taken as it lies")
    return 1


def _text(value: object) -> str | None:
    """Make a clean text of whatever a library made of the tag; None where nothing is left."""
    value = _bytes(value)
    if isinstance(value, bytes):
        value = _decoded(value)
    if not isinstance(value, str):
        return None
    value = value[: 2 * TEXT_LENGTH]
    text = "".join(
        letter if letter.isprintable() or letter in "\n\t" else " " for letter in value.split("\0")[0]
    )
    text = re.sub(r"[ \t]+", " ", text).strip()[:TEXT_LENGTH]
    return text or None


def _bytes(value: object) -> object:
    """Make bytes of a list of them, no more than a text needs; anything else stays what it is."""
    if isinstance(value, (list, tuple)):
        first = value[:TEXT_BYTES]
        return bytes(first) if all(isinstance(item, int) and 0 <= item < 256 for item in first) else None
    return value[:TEXT_BYTES] if isinstance(value, bytes) else value


def _decoded(raw: bytes) -> str:
    """Decode bytes of unstated encoding: the Exif prefixes, then UTF-8, then Latin 1."""
    if raw[:8] == b"UNICODE\0":
        rest = raw[8:]
        # Exif doesn't say which end first; a text in Latin letters has its zeros on one side
        little = rest[1::2].count(0) >= rest[0::2].count(0)
        return rest.decode("utf-16-le" if little else "utf-16-be", "replace")
    if raw[:8] in {b"ASCII\0\0\0", b"\0" * 8, b"JIS\0\0\0\0\0"}:
        raw = raw[8:]
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _wide(value: object) -> str | None:
    """Make a text of an XP tag, which is UTF-16 in bytes."""
    value = _bytes(value)
    if isinstance(value, bytes):
        value = value.decode("utf-16-le", "replace")
    return _text(value)


# -- XMP (ISO 16684-1) ---------------------------------------------------------------------------------------

XMP_BYTES = 1 << 20
"""Bytes of a packet that is read; a longer one is left aside."""

_DC = "{http://purl.org/dc/elements/1.1/}"
_XMP = "{http://ns.adobe.com/xap/1.0/}"
_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"


def _xmp(packet: bytes) -> tuple[list[str], str | None]:
    """Read title, description and identifier, and the creation date; nothing of a broken packet."""
    packet = packet.strip(b"\0 \r\n\t")
    if not packet or len(packet) > XMP_BYTES:
        return [], None
    try:
        text = packet.decode("utf-8-sig")
        # nothing is to be declared: an entity may stand for any number of others
        if "<!DOCTYPE" in text or "<!ENTITY" in text:
            return [], None
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError, LookupError):
        return [], None
    texts: list[str] = []
    created: str | None = None
    for node in root.iter():
        for name in ("title", "description", "identifier"):
            if (short := node.get(_DC + name)) is not None:
                texts.append(short)
            if node.tag == _DC + name:
                # one step down a list, one further its items; never all that lies below, again and again
                items = [item.text for item in node.iterfind(f"*/{_RDF}li")] or [node.text]
                texts.extend(item for item in items if item)
        created = created or node.get(_XMP + "CreateDate")
        if node.tag == _XMP + "CreateDate":
            created = created or node.text
        if len(texts) > MOST_TEXTS:
            break
    return texts[:MOST_TEXTS], created


# -- dates ---------------------------------------------------------------------------------------------------

_DATE = re.compile(
    r"\s*(\d{4})[:\-/.](\d\d)[:\-/.](\d\d)(?:[T ](\d\d):(\d\d)(?::(\d\d))?(?:\.\d+)?)?\s*(Z|[+-]\d\d:?\d\d)?"
)


def _when(value: object, offset: object = None) -> str | None:
    """Write a tag's date as ISO 8601; None where it is no date.

    >>> _when("2024:03:04 05:06:07")
    '2024-03-04T05:06:07'
    >>> _when("0000:00:00 00:00:00") is None
    True
    """
    text = _text(value)
    match = _DATE.match(text) if text else None
    if not match:
        return None
    year, month, day, hour, minute, second, zone = match.groups()
    try:
        moment = datetime(  # noqa: DTZ001 - tags mostly don't know their zone; what they know is added below
            int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0)
        )
    except ValueError:
        return None
    if hour is None:
        return moment.date().isoformat()
    if zone is None and (beside := _text(offset)) and re.fullmatch(r"[+-]\d\d:\d\d", beside):
        zone = beside
    return moment.isoformat() + (zone or "")


# -- resolution ----------------------------------------------------------------------------------------------


def _number(value: object) -> float | None:
    try:
        if isinstance(value, tuple) and len(value) == 2:
            return float(value[0]) / float(value[1])
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None


def _density(values: Mapping[str, object]) -> tuple[float, float] | None:
    across = _number(values.get("XResolution"))
    down = _number(values.get("YResolution", values.get("XResolution")))
    unit = _number(values.get("ResolutionUnit", 2))
    scale = {2.0: 1.0, 3.0: 2.54}.get(unit or 0.0)
    if across is None or scale is None:
        return None
    return across * scale, (across if down is None else down) * scale


def _dpi(density: tuple[float, float] | None, width: int, height: int) -> tuple[float | None, list[str]]:
    if density is None:
        return None, []
    across, down = density
    if not (DPI_RANGE[0] <= across <= DPI_RANGE[1]) or abs(across - down) > 0.01 * across:
        return None, [f"its resolution, {across:.4g} × {down:.4g} dpi, can't be that of a scan; not used"]
    if max(width, height) / across * 25.4 > LARGEST_FILM_MM:
        return None, [f"at the {across:.4g} dpi it states, the film would be longer than any; not used"]
    # what whole dots per centimetre or metre leave behind the point is no knowledge
    return round(across, 3), []


# -- colour ---------------------------------------------------------------------------------------------------


def _profile_name(icc: bytes, given: object) -> str | None:
    """Read the description of an ICC profile, or say that it has none."""
    if len(icc) < 132:
        return _text(given)
    return _text(icc_text(icc_tag(icc, b"desc"))) or _text(given) or "unnamed"


SCREEN_EXPONENT = 2.2
"""That of IEC 61966-2-1, as near as one power comes to it."""


def _exponent(icc: bytes, values: Mapping[str, object]) -> float | None:
    """Tell by which power light follows code: by the profile, else by what else the file says."""
    if icc:
        return icc_exponent(icc)
    gamma = values.get("Gamma")
    if isinstance(gamma, float) and 0.1 < gamma < 10:
        # the power by which the picture was encoded (PNG, chunk gAMA); light is its inverse
        return 1 / gamma
    if _number(values.get("ColorSpace")) == 1:
        return SCREEN_EXPONENT
    table = values.get("TransferFunction")
    if isinstance(table, list) and len(table) in {256, 65536}:
        # TIFF 6.0, section 20: the light of every code
        place = len(table) // 2
        light = table[place] / 65535
        if 0 < light < 1:
            return math.log(light) / math.log(place / (len(table) - 1))
    return None


# -- all together --------------------------------------------------------------------------------------------


def facts(
    values: Mapping[str, object],
    *,
    texts: Iterable[str],
    xmp: bytes,
    icc: bytes,
    density: tuple[float, float] | None,
    width: int,
    height: int,
) -> Facts:
    """Make facts of tags.

    Parameters
    ----------
    values : tag names of TIFF and Exif to what the library made of them.
    texts : further texts, in the order found.
    xmp, icc : the packet and the profile, empty where there is none.
    density : pixels per inch along x and y where the format says so itself; it goes before the tags'.
    width, height : pixels.
    """
    found = [
        _wide(values.get(name)) if name.startswith("XP") else _text(values.get(name)) for name in DESCRIPTIONS
    ]
    of_xmp, created = _xmp(xmp)
    found += [_text(text) for text in (*texts, *of_xmp)]
    found = found[:MOST_TEXTS]
    # a shape in JSON is how one writing library remembers its arrays, not a description
    description = tuple(dict.fromkeys(text for text in found if text and not text.startswith('{"shape":')))
    dpi, notes = _dpi(density, width, height)
    if dpi is None and (of_tags := _density(values)) is not None:
        dpi, notes = _dpi(of_tags, width, height)
    taken_at = (
        _when(values.get("DateTimeDigitized"), values.get("OffsetTimeDigitized"))
        or _when(values.get("DateTimeOriginal"), values.get("OffsetTimeOriginal"))
        or _when(created)
        or _when(values.get("DateTime"), values.get("OffsetTime"))
    )
    return Facts(
        make=_text(values.get("Make")),
        model=_text(values.get("Model")),
        software=_text(values.get("Software")),
        description=description,
        taken_at=taken_at,
        dpi=dpi,
        colour_profile=_profile_name(icc, values.get("ProfileName")),
        exponent=_exponent(icc, values),
        notes=tuple(notes),
    )
