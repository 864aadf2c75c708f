"""The scans by the IIIF Image API 3.0, level 2, and the sheets by the IIIF Presentation API 3.0.

So any viewer that speaks them opens the archive, and the sheet page's own viewer takes its tiles here.

Who may read across origins. A picture's address holds twelve digits of its master's SHA-256, which nobody
guesses; whoever knows it may read it from anywhere, as the standard wishes, where the archive is open to all.
A manifest is found under a sheet's id and the collection names them all: a page from elsewhere that is open
in the same browser must not read them off the loopback address. There, only viewers served from this machine itself
may, and those whose origin is listed under plugins, negcat, origins in Datasette's metadata. Where reading
asks for signing in, nothing is ever given across origins.
"""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Awaitable, Callable
from functools import wraps
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, unquote, urlsplit

from datasette.utils.asgi import Forbidden, Response

from negcat.errors import NegcatError, UnknownNameError
from negcat.scans import Pyramid
from negcat.web import iiif_request, presentation, reading
from negcat.web.answering import names_tag
from negcat.web.iiif_request import RequestError
from negcat.web.security import OWN_POLICY, is_loopback
from negcat.work import tiles

__all__ = ["image_base", "pages"]

View = Callable[[Any, Any], Awaitable[Any]]
Inner = Callable[[Any, Any, reading.Attached], Awaitable[Any]]

IMAGE_CONTEXT = "http://iiif.io/api/image/3/context.json"
PROFILE = "http://iiif.io/api/image/3/level2.json"
_BRIEFLY, _FOR_GOOD = "max-age=3600", "max-age=31536000, immutable"


def pages() -> list[tuple[str, View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/iiif/3/(?P<scan>[^/]+)/?$", _open(_bare, anyone=True)),
        (r"^/iiif/3/(?P<scan>[^/]+)/info\.json$", _open(_info, anyone=True)),
        (r"^/iiif/3/(?P<scan>[^/]+)/(?P<rest>.+)$", _open(_image, anyone=True)),
        (r"^/iiif/presentation/3/collection\.json$", _open(_collection, anyone=False)),
        (r"^/iiif/presentation/3/collection/(?P<page>\d{1,7})\.json$", _open(_collection_page, anyone=False)),
        (r"^/iiif/presentation/3/(?P<sheet>[^/]+)/manifest\.json$", _open(_manifest, anyone=False)),
    ]


def image_base(datasette: Any, request: Any, scan: str) -> str:
    """Give the absolute address of a scan's image service."""
    address: str = datasette.absolute_url(request, datasette.urls.path(f"/iiif/3/{scan}"))
    return address


def _open(view: Inner, *, anyone: bool) -> View:
    """Answer GET, HEAD and OPTIONS, every fault in words, with the headers that let viewers elsewhere read.

    Parameters
    ----------
    view : what answers.
    anyone : whether pages of any origin may read it, where reading is open to all.
    """

    @wraps(view)
    async def answering(datasette: Any, request: Any) -> Any:
        attached = reading.attached(datasette)
        assert attached is not None  # the routes are only there with an archive
        shared = await _shared_with(datasette, request, attached, anyone=anyone)
        try:
            if request.method == "OPTIONS":
                response = Response(b"", status=204, headers={"allow": "GET, HEAD, OPTIONS"})
                if shared:
                    shared |= {"access-control-allow-methods": "GET, HEAD, OPTIONS",
                               "access-control-allow-headers": "Accept, If-None-Match"}  # fmt: skip
            elif request.method not in ("GET", "HEAD"):
                response = _words(HTTPStatus.METHOD_NOT_ALLOWED, "Pictures can only be read.")
                response.headers["allow"] = "GET, HEAD, OPTIONS"
            else:
                await datasette.ensure_permissions(
                    request.actor, [("view-database", attached.database), "view-instance"]
                )
                response = await view(datasette, request, attached)
        except Forbidden:
            response = _words(HTTPStatus.FORBIDDEN, "Reading this archive asks for signing in.")
        except RequestError as refusal:
            response = _words(HTTPStatus(refusal.status), str(refusal))
        except UnknownNameError as error:
            response = _words(HTTPStatus.NOT_FOUND, str(error))
        except NegcatError as error:
            response = _words(HTTPStatus.INTERNAL_SERVER_ERROR, str(error))
        response.headers.setdefault("content-security-policy", OWN_POLICY)
        response.headers.update(shared)
        return response

    del answering.__wrapped__  # Datasette would look at its parameters
    return answering


async def _shared_with(
    datasette: Any, request: Any, attached: reading.Attached, *, anyone: bool
) -> dict[str, str]:
    """Write the headers that let a page of another origin read the answer; none where it may not."""
    open_to_all = await datasette.permission_allowed(None, "view-instance", default=True)
    if not open_to_all or not await datasette.permission_allowed(
        None, "view-database", attached.database, default=True
    ):
        return {}
    shown = {
        "access-control-expose-headers": "Link, ETag",
        "cross-origin-resource-policy": "cross-origin",
    }
    server = (request.scope.get("server") or (None,))[0]
    if anyone or (server and not is_loopback(server)):
        return {"access-control-allow-origin": "*", **shown}
    origin = request.headers.get("origin", "")
    listed = (datasette.plugin_config("negcat") or {}).get("origins") or []
    listed = [listed] if isinstance(listed, str) else listed
    if origin and (origin in listed or _of_this_machine(origin)):
        return {"access-control-allow-origin": origin, "vary": "Origin", **shown}
    return {"vary": "Origin"}


def _of_this_machine(origin: str) -> bool:
    try:
        host = urlsplit(origin).hostname or ""
    except ValueError:
        return False
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _words(status: HTTPStatus, sentence: str) -> Any:
    return Response.text(sentence + "\n", status=status, headers={"cache-control": "no-cache"})


def _json(request: Any, document: Any, context: str) -> Any:
    """Answer with JSON-LD where it is asked for or anything will do, else with plain JSON."""
    accepted = request.headers.get("accept", "")
    plain = "application/json" in accepted and "application/ld+json" not in accepted
    response = Response.json(document, headers={"cache-control": "no-cache", "vary": "Accept, Origin"})
    response.content_type = "application/json" if plain else f'application/ld+json;profile="{context}"'
    return response


# The pictures -----------------------------------------------------------------------------------------------


def _picture(attached: reading.Attached, request: Any) -> tuple[str, Pyramid]:
    scan = unquote(request.url_vars["scan"])
    if not (len(scan) == 12 and set(scan) <= set("0123456789abcdef")):
        raise UnknownNameError(f"The archive holds no scan “{scan}”: a scan’s id has twelve digits 0 to f.")
    return scan, tiles.opened(attached.root, scan)


async def _bare(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    """Lead from a picture's own address to what is told of it."""
    scan, _ = await asyncio.to_thread(_picture, attached, request)
    return Response.redirect(f"{image_base(datasette, request, scan)}/info.json", status=303)


async def _info(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    scan, pyramid = await asyncio.to_thread(_picture, attached, request)
    document = {
        "@context": IMAGE_CONTEXT,
        "id": image_base(datasette, request, scan),
        "type": "ImageService3",
        "protocol": "http://iiif.io/api/image",
        "profile": "level2",
        "width": pyramid.width,
        "height": pyramid.height,
        "maxArea": iiif_request.MAX_AREA,
        "sizes": [
            {"width": level.width, "height": level.height}
            for level in reversed(pyramid.levels)
            if level.width * level.height <= iiif_request.MAX_AREA
        ],
        "tiles": [{"width": pyramid.tile, "scaleFactors": [level.factor for level in pyramid.levels]}],
        "preferredFormats": ["jpg"],
        "extraQualities": ["color", "gray", "bitonal"],
        "extraFeatures": ["canonicalLinkHeader", "mirroring", "profileLinkHeader"],
    }
    response = _json(request, document, IMAGE_CONTEXT)
    response.headers["link"] = f'<{PROFILE}>;rel="profile"'
    return response


async def _image(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    parts = [unquote(part) for part in request.url_vars["rest"].split("/")]

    def answer() -> tuple[str, str, str, str, bytes | None]:
        scan, pyramid = _picture(attached, request)
        if len(parts) != 4:
            raise RequestError(400, "A picture is asked for as region/size/rotation/quality.format.")
        region, size, rotation, ending = parts
        wanted = iiif_request.read_request((region, size, rotation, ending), pyramid.width, pyramid.height)
        path = iiif_request.canonical(wanted, pyramid.width, pyramid.height, ending.rpartition(".")[0])
        stamp = tiles.stamp_of(pyramid)
        # No commas: they part the tags of If-None-Match.
        tag = f'"{stamp}-{path.replace(",", ".")}"'
        unchanged = names_tag(request.headers.get("if-none-match", ""), tag)
        kind = iiif_request.FORMATS[wanted.encoding]
        return kind, f"{scan}/{path}", stamp, tag, None if unchanged else tiles.draw(pyramid, wanted)

    kind, path, stamp, tag, data = await asyncio.to_thread(answer)
    address = datasette.absolute_url(request, datasette.urls.path(f"/iiif/3/{quote(path, safe='/,!')}"))
    # The tones may be made anew under the same address; one that names their stamp never changes.
    known = request.args.get("v") == stamp
    headers = {
        "etag": tag,
        "cache-control": _FOR_GOOD if known else _BRIEFLY,
        "link": f'<{PROFILE}>;rel="profile", <{address}>;rel="canonical"',
    }
    if data is None:
        return Response(b"", status=HTTPStatus.NOT_MODIFIED, headers=headers, content_type=kind)
    return Response(data, headers={**headers, "content-length": str(len(data))}, content_type=kind)


# The sheets -------------------------------------------------------------------------------------------------


def _addresses(datasette: Any, request: Any) -> presentation.Addresses:
    return presentation.Addresses(
        lambda path: str(datasette.absolute_url(request, datasette.urls.path(path)))
    )


async def _manifest(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    sheet = unquote(request.url_vars["sheet"])
    dossier = await asyncio.to_thread(reading.dossier, attached.root, sheet)
    document = presentation.manifest(dossier, _addresses(datasette, request))
    return _json(request, document, presentation.CONTEXT)


async def _collection(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    found = await asyncio.to_thread(reading.found, attached.root, {}, sort="oldest", limit=presentation.PAGE)
    document = presentation.collection(
        attached.root.name, found["count"], found["sheets"], _addresses(datasette, request)
    )
    return _json(request, document, presentation.CONTEXT)


async def _collection_page(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    number = int(request.url_vars["page"])
    found = await asyncio.to_thread(
        reading.found,
        attached.root,
        {},
        sort="oldest",
        limit=presentation.PAGE,
        offset=max(number - 1, 0) * presentation.PAGE,
    )
    if number < 1 or not found["sheets"]:
        raise UnknownNameError(f"The collection has no page {number}.")
    document = presentation.collection_page(
        attached.root.name, number, found["sheets"], _addresses(datasette, request)
    )
    return _json(request, document, presentation.CONTEXT)
