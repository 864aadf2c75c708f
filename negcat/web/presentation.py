"""What IIIF viewers are told of sheets: a manifest a sheet and a collection for the archive (Presentation API 3.0).

The words manifest, canvas and collection are the standard's. A collection of more than :data:`PAGE` sheets
holds collections of so many each, in the order in which the sheets were made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from negcat.web.typesetting import date, shutter_time, stop

__all__ = ["CONTEXT", "PAGE", "Addresses", "collection", "collection_page", "manifest"]

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
PAGE = 500
_PREVIEW_SIDE = 1600


@dataclass(frozen=True)
class Addresses:
    """Where things are.

    Parameters
    ----------
    absolute : makes an absolute address of a path from the archive's front page.
    """

    absolute: Callable[[str], str]

    def manifest(self, sheet: str) -> str:
        """Give a sheet's manifest."""
        return self.absolute(f"/iiif/presentation/3/{quote(sheet, safe='')}/manifest.json")

    def sheet(self, sheet: str) -> str:
        """Give a sheet's page."""
        return self.absolute(f"/sheet/{quote(sheet, safe='')}")

    def image(self, scan: str) -> str:
        """Give a scan's image service."""
        return self.absolute(f"/iiif/3/{scan}")

    def collection(self, page: int | None = None) -> str:
        """Give the collection, or a page of it."""
        return self.absolute(f"/iiif/presentation/3/collection{'' if page is None else f'/{page}'}.json")


def _text(words: str) -> dict[str, list[str]]:
    """Set words in no particular language: they are the photographer's.

    What begins with ``<`` and ends with ``>`` would be taken for HTML; a space behind it says that it is none
    (IIIF Presentation API 3.0, 4.5).
    """
    return {"none": [f"{words} " if words.startswith("<") and words.endswith(">") else words]}


def _label(sheet: Mapping[str, Any]) -> dict[str, list[str]]:
    about = ", ".join(str(sheet[name]) for name in ("place", "subject") if sheet.get(name))
    return _text(f"{sheet['sheet']}: {about}" if about else str(sheet["sheet"]))


def manifest(dossier: Mapping[str, Any], addresses: Addresses) -> dict[str, Any]:
    """Write a sheet's manifest: a canvas for each of its scans, the measured one first.

    Parameters
    ----------
    dossier : as ``negcat show --json`` prints it.
    addresses : where things are.
    """
    own = addresses.manifest(dossier["sheet"])
    exposure = dossier.get("exposure") or {}
    facts = (
        ("Made", date(dossier.get("exposed_at"))),
        ("Film", dossier.get("film")),
        ("Lens", ", ".join(str(dossier[name]) for name in ("lens", "cell") if dossier.get(name))),
        ("Stop", stop(exposure.get("marked_stop"))),
        ("Time", shutter_time(exposure.get("marked_time"))),
        ("Tag", dossier.get("tag")),
        ("Developer", (dossier.get("development") or {}).get("developer")),
        ("Verdict", (dossier.get("result") or {}).get("verdict")),
    )
    return {
        "@context": CONTEXT,
        "id": own,
        "type": "Manifest",
        "label": _label(dossier),
        "metadata": [{"label": {"en": [name]}, "value": _text(str(value))} for name, value in facts if value],
        "homepage": [
            {
                "id": addresses.sheet(dossier["sheet"]),
                "type": "Text",
                "label": {"en": [f"Sheet {dossier['sheet']}"]},
                "format": "text/html",
            }
        ],
        "seeAlso": [
            {
                "id": addresses.sheet(dossier["sheet"]) + ".json",
                "type": "Dataset",
                "label": {"en": ["All that is known of the sheet"]},
                "format": "application/json",
            }
        ],
        "partOf": [{"id": addresses.collection(), "type": "Collection"}],
        "items": [_canvas(own, scan, addresses) for scan in dossier.get("scans") or ()],
    }


def _canvas(own: str, scan: Mapping[str, Any], addresses: Addresses) -> dict[str, Any]:
    """Write the canvas of a scan: as many units as the scan has pixels."""
    canvas, image = f"{own}/canvas/{scan['scan']}", addresses.image(scan["scan"])
    width, height = scan["width"], scan["height"]
    share = min(1.0, _PREVIEW_SIDE / max(width, height))
    small = max(1, round(width * share)), max(1, round(height * share))
    service = [{"id": image, "type": "ImageService3", "profile": "level2"}]
    body = {
        "id": f"{image}/full/max/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": width,
        "height": height,
        "service": service,
    }
    return {
        "id": canvas,
        "type": "Canvas",
        "label": _text(f"scan {scan['scan']}"),
        "width": width,
        "height": height,
        "thumbnail": [
            {
                "id": f"{image}/full/{small[0]},{small[1]}/0/default.jpg",
                "type": "Image",
                "format": "image/jpeg",
                "width": small[0],
                "height": small[1],
                "service": service,
            }
        ],
        "items": [
            {
                "id": f"{canvas}/page",
                "type": "AnnotationPage",
                "items": [
                    {
                        "id": f"{canvas}/page/picture",
                        "type": "Annotation",
                        "motivation": "painting",
                        "body": body,
                        "target": canvas,
                    }
                ],
            }
        ],
    }


def _manifests(sheets: Sequence[Mapping[str, Any]], addresses: Addresses) -> list[dict[str, Any]]:
    return [
        {"id": addresses.manifest(sheet["sheet"]), "type": "Manifest", "label": _label(sheet)}
        for sheet in sheets
    ]


def collection(
    name: str, count: int, first: Sequence[Mapping[str, Any]], addresses: Addresses
) -> dict[str, Any]:
    """Write the archive's collection.

    Parameters
    ----------
    name : the archive's.
    count : of all sheets.
    first : the first :data:`PAGE` sheets, with the fields of ``negcat find --json``.
    addresses : where things are.
    """
    if count <= PAGE:
        items = _manifests(first, addresses)
    else:
        items = [
            {
                "id": addresses.collection(page),
                "type": "Collection",
                "label": {"en": [f"Sheets {1 + PAGE * (page - 1)} to {min(PAGE * page, count)}"]},
            }
            for page in range(1, -(-count // PAGE) + 1)
        ]
    return {
        "@context": CONTEXT,
        "id": addresses.collection(),
        "type": "Collection",
        "label": _text(name),
        "summary": {"en": [f"{count} sheets, in the order in which they were made."]},
        "items": items,
    }


def collection_page(
    name: str, number: int, sheets: Sequence[Mapping[str, Any]], addresses: Addresses
) -> dict[str, Any]:
    """Write a page of the archive's collection: at most :data:`PAGE` sheets."""
    first = PAGE * (number - 1) + 1
    return {
        "@context": CONTEXT,
        "id": addresses.collection(number),
        "type": "Collection",
        "label": _text(f"{name}, sheets {first} to {first + len(sheets) - 1}"),
        "partOf": [{"id": addresses.collection(), "type": "Collection"}],
        "items": _manifests(sheets, addresses),
    }
