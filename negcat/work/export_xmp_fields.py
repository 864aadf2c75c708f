"""What stands in an XMP side file: one table, which the writer, its description and the tests go by.

XMP is ISO 16684-1; the meaning of its ``exif`` and ``exifEX`` properties is that of Exif (CIPA DC-008 and DC-010),
that of ``dc`` is Dublin Core's (ISO 15836), that of ``photoshop`` and ``Iptc4xmpExt`` the IPTC Photo Metadata
Standard's. A standard's property is taken only where what the archive knows is what the standard means by it;
everything stands once more, or only, under ``negcat``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

__all__ = ["NAMESPACES", "OWN", "OWN_FIELDS", "STANDARD_FIELDS", "Field", "Kind", "own_name"]

OWN = "https://negcat.invalid/xmp/1/"
"""Our namespace. ``.invalid`` is nobody's (RFC 2606), so that nothing is ever asked for there."""

NAMESPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "negcat": OWN,
}

Kind = Literal[
    "text",
    "in a language",
    "texts",
    "words",
    "date",
    "number",
    "rational",
    "whole number",
    "whole numbers",
    "yes or no",
    "parts",
    "list of parts",
    "bag of parts",
]


@dataclass(frozen=True)
class Field:
    """A property.

    Parameters
    ----------
    name : with its namespace's prefix.
    path : where its value stands in what ``negcat show --json`` prints, or in the part that it belongs to.
    kind : how the value is written.
    said : what it means.
    unit : of the value.
    parts : the properties it is made of.
    """

    name: str
    path: tuple[str, ...]
    kind: Kind
    said: str
    unit: str = ""
    parts: tuple[Field, ...] = ()


def own_name(name: str) -> str:
    """Name a property of ours after its field in the JSON.

    Examples
    --------
    >>> own_name("exposure_error_stops")
    'negcat:exposureErrorStops'
    """
    return "negcat:" + re.sub("_(.)", lambda match: match[1].upper(), name)


def _own(name: str, kind: Kind, said: str, unit: str = "", *parts: Field) -> Field:
    return Field(own_name(name), (name,), kind, said, unit, parts)


STANDARD_FIELDS = (
    Field("dc:identifier", ("sheet",), "text", "Id of the sheet in the archive"),
    Field("dc:title", ("sheet",), "in a language", "Id of the sheet: the short name it goes by"),
    Field("dc:description", ("subject",), "in a language", "What the picture shows, as recorded"),
    Field("dc:subject", ("subject",), "words", "What the picture shows, as one phrase"),
    Field(
        "Iptc4xmpExt:LocationCreated",
        ("place",),
        "bag of parts",
        "Where the sheet was exposed",
        "",
        (Field("Iptc4xmpExt:LocationName", (), "in a language", "The place's name, as recorded"),),
    ),
    Field(
        "exif:DateTimeOriginal",
        ("exposed_at",),
        "date",
        "When the sheet was exposed, as finely as recorded; without an offset the local time",
    ),
    Field("photoshop:DateCreated", ("exposed_at",), "date", "When the sheet was exposed"),
    Field(
        "exif:ExposureTime",
        ("exposure", "shutter_time_s"),
        "rational",
        "The time the film got: as the shutter was measured to give it, else what the mark stands for (1/15: 1/16)",
        "s",
    ),
    Field(
        "exif:FNumber",
        ("exposure", "effective_f_number"),
        "rational",
        "F-number that the stop amounts to with the cell in use, at infinity; bellows and filter are not in it",
        "f-number",
    ),
    Field(
        "exif:FocalLength",
        ("focal_mm",),
        "rational",
        "Focal length of the cell in use, from the lens's record",
        "mm",
    ),
    Field(
        "exif:ISOSpeedRatings",
        ("exposure_index",),
        "whole numbers",
        "Exposure index of the film, where it is a whole number",
        "ISO",
    ),
    Field(
        "exifEX:PhotographicSensitivity",
        ("exposure_index",),
        "whole number",
        "The same under its newer name",
        "ISO",
    ),
    Field("exifEX:LensModel", ("lens",), "text", "The lens, by its name in the archive"),
    Field("xmp:CreateDate", ("scan", "taken_at"), "date", "When the scan was made, by its own tags"),
    Field("exif:DateTimeDigitized", ("scan", "taken_at"), "date", "When the scan was made, by its own tags"),
)
"""Of these the last two are about the scan; all others are about the exposure of the negative."""

_ZONE = "zones"
_DENSITY = "density"
_STOPS = "stops"
_SD = ", one standard deviation"

_MOVEMENTS = tuple(
    _own(name, "number", said, unit)
    for name, said, unit in (
        ("front_rise_mm", "Front rise, fall negative", "mm"),
        ("front_shift_mm", "Front shift, right positive", "mm"),
        ("front_tilt_deg", "Front tilt, forward positive", "degrees"),
        ("front_swing_deg", "Front swing, right positive", "degrees"),
        ("rear_tilt_deg", "Rear tilt, forward positive", "degrees"),
        ("rear_swing_deg", "Rear swing, right positive", "degrees"),
    )
)

_EXPOSURE = tuple(
    _own(name, "number", said, unit)
    for name, said, unit in (
        ("f_number", "F-number that the marked stop stands for", "f-number"),
        ("effective_f_number", "F-number that it amounts to with the cell in use", "f-number"),
        ("time_s", "Time that the mark stands for", "s"),
        ("shutter_time_s", "Time that the shutter gave", "s"),
        ("effective_time_s", "That time less reciprocity failure", "s"),
        ("setting_stops", "What stop and time give beyond what the placed reading asks", _STOPS),
        ("filter_stops", "Lost to the filter, negative", _STOPS),
        ("bellows_stops", "Lost to the bellows, negative", _STOPS),
        ("cell_stops", "Lost or won by the cell", _STOPS),
        ("shutter_stops", "Lost or won by the shutter", _STOPS),
        ("reciprocity_stops", "Lost to reciprocity failure, negative", _STOPS),
        ("decision_stops", "The sum of the six: given beyond plan", _STOPS),
    )
)

_LEDGER = (
    _own("item", "text", "What the line is about"),
    _own("stops", "number", "More exposure positive", _STOPS),
    _own("text", "text", "The line in words"),
)

_DEVELOPMENT = (
    _own("batch", "text", "Id of the batch"),
    _own("date", "date", "When it was developed"),
    _own("developer", "text", "Developer"),
    _own("dilution", "text", "Dilution"),
    _own("temperature_c", "number", "Temperature", "°C"),
    _own("time", "text", "Time as written"),
    _own("time_s", "number", "Time", "s"),
    _own("method", "text", "Method"),
    _own("agitation", "text", "Agitation"),
    _own("tag", "text", "Tag that the batch was developed to"),
    _own("notes", "text", "Notes on the batch"),
)

_BASE_FOG = (
    _own("density", "number", "Density of base plus fog", _DENSITY),
    _own("sd", "number", f"Its uncertainty{_SD}", _DENSITY),
    _own("source", "text", "What it is known by: rebate, spot, batch or film"),
)

_SPOT = (
    _own("x", "number", "From the left edge of the upright scan, fraction of its width"),
    _own("y", "number", "From the top edge of the upright scan, fraction of its height"),
    _own("diameter_mm", "number", "Diameter of the round aperture on the film", "mm"),
    _own("scan", "text", "Id of the scan that x and y are fractions of"),
)

_READING = (
    _own("name", "text", "What was metered"),
    _own("role", "text", "shadow, middle, highlight or other"),
    _own("placed", "yes or no", "Whether the exposure was placed by it"),
    _own("ev", "number", "Exposure value metered", "EV"),
    _own("planned_zone", "number", "Exposure zone planned", _ZONE),
    _own("given_zone", "number", "Exposure zone given, with every recorded correction", _ZONE),
    _own("planned_print_zone", "number", "Print zone planned, after development by the tag", _ZONE),
    _own("target_density", "number", "Density above base plus fog that the plan asks for", _DENSITY),
    _own("density", "number", "Density found on the scan", _DENSITY),
    _own("sd", "number", f"Its uncertainty{_SD}", _DENSITY),
    _own("net_density", "number", "Density above base plus fog", _DENSITY),
    _own("print_zone", "number", "Print zone found", _ZONE),
    _own("print_zone_sd", "number", f"Its uncertainty{_SD}", _ZONE),
    _own("error_density", "number", "Found less planned", _DENSITY),
    _own("error_zones", "number", "Found less planned", _ZONE),
    _own("note", "text", "What the figures can't say"),
    _own("spot", "parts", "Where it was measured", "", *_SPOT),
)

_RESULT = (
    _own("verdict", "text", "thin, dense, flat, contrasty, as planned, unsure, or two of them"),
    _own("exposure_verdict", "text", "On the exposure"),
    _own("development_verdict", "text", "On the development"),
    _own("why", "texts", "The verdict's reasons, sentence by sentence"),
    _own("exposure_error_stops", "number", "Exposure found less planned", _STOPS),
    _own("exposure_error_sd", "number", f"Its uncertainty with the metering's{_SD}", _STOPS),
    _own("exposure_error_density_sd", "number", f"Its uncertainty by the densities alone{_SD}", _STOPS),
    _own("residual_stops", "number", "What remains when what was given beyond plan is taken off", _STOPS),
    _own("planned_n", "number", "Development planned: 1 for N+1", "N"),
    _own("found_n", "number", "Development found", "N"),
    _own("found_n_sd", "number", f"Its uncertainty with the metering's{_SD}", "N"),
    _own("found_n_density_sd", "number", f"Its uncertainty by the densities alone{_SD}", "N"),
    _own("target", "text", "Print target that it was held against"),
)

_SCAN = (
    _own("scan", "text", "Id of the scan: the first 12 hex digits of its SHA-256"),
    _own("sha256", "text", "SHA-256 of the master"),
    _own("file_name", "text", "The master's name, without its folder"),
    _own("width", "whole number", "Of the upright scan", "pixels"),
    _own("height", "whole number", "Of the upright scan", "pixels"),
    _own("bits", "whole number", "For each value"),
    _own("dpi", "number", "Resolution on the film", "pixels per inch"),
    _own("scanner", "text", "The scanner, by its name in the archive"),
    _own("calibrated", "yes or no", "Whether a scanner's profile held for it"),
    _own("measured", "yes or no", "Whether the densities are of this scan, not of another one of the sheet"),
    _own("unmeasured", "text", "Why they are not"),
)

OWN_FIELDS = (
    _own("sheet", "text", "Id of the sheet"),
    _own("film", "text", "Film"),
    _own("exposure_index", "number", "Index the meter was set to", "ISO"),
    _own("format", "text", "Film format"),
    _own("holder", "text", "Film holder"),
    _own("side", "text", "Side of the holder"),
    _own("cell", "text", "Cell of the lens"),
    _own("stop", "text", "Stop as marked: 22½ is half a stop beyond f/22"),
    _own("stop_scale", "text", "Cell whose stop scale it was read from"),
    _own("time", "text", "Time as marked"),
    _own("bellows_mm", "number", "Extension from lens to film", "mm"),
    _own("filter", "text", "Filter"),
    _own("filter_factor", "number", "Its factor on the time"),
    _own("movements", "parts", "Camera movements", "", *_MOVEMENTS),
    _own("weather", "text", "Weather and light"),
    _own("tag", "text", "Development it was meant for"),
    _own("meter_iso", "number", "Index the meter stood at for the readings", "ISO"),
    _own("print_target", "text", "Print target"),
    _own("location", "text", "Where the negative is kept"),
    _own("notes", "text", "Notes on the sheet"),
    _own("exposure", "parts", "What the film was given, in stops beyond plan", "", *_EXPOSURE),
    _own("ledger", "list of parts", "The ledger of stops, line by line", "", *_LEDGER),
    _own("development", "parts", "How it was developed", "", *_DEVELOPMENT),
    _own("base_fog", "parts", "Base plus fog", "", *_BASE_FOG),
    _own("readings", "list of parts", "Readings: planned, given and found", "", *_READING),
    _own("result", "parts", "What came out", "", *_RESULT),
    _own("scan", "parts", "The scan that this file stands beside", "", *_SCAN),
)
