"""Who scanned it, when, how finely, and which sheet it may be."""

import struct

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from negcat.scans import identify

GREY = np.arange(40 * 30, dtype=np.uint16).reshape(30, 40)

XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about=""
 xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 dc:identifier="BW-19" xmp:CreateDate="2024-03-07T08:09:10+01:00">
 <dc:title><rdf:Alt><rdf:li xml:lang="x-default">Tongrube, Nordrand</rdf:li></rdf:Alt></dc:title>
 <dc:description><rdf:Alt><rdf:li xml:lang="x-default">clay &amp; water</rdf:li></rdf:Alt></dc:description>
</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>""".encode()


def wide(text):
    return text.encode("utf-16-le") + b"\0\0"


def write(path, **options):
    tifffile.imwrite(path, GREY, metadata=None, **options)
    return identify(path)


def test_texts_of_a_tiff(tmp_path):
    info = write(
        tmp_path / "a.tif",
        description="BW-07 kiln",
        software="Tidescan 2",
        datetime="2024:03:04 05:06:07",
        resolution=(1200, 1200),
        resolutionunit="INCH",
        extratags=[
            (269, 2, None, "roll sheet", True),
            (285, 2, None, "page one", True),
            (271, 2, None, "Marsh Instruments", True),
            (272, 2, None, "Flatbed 9", True),
            (40091, 1, None, wide("Ofenmündung"), True),
            (40092, 1, None, wide("again"), True),
            (700, 1, None, XMP, True),
        ],
    )
    assert info.description == (
        "BW-07 kiln",
        "roll sheet",
        "page one",
        "Ofenmündung",
        "again",
        "BW-19",
        "Tongrube, Nordrand",
        "clay & water",
    )
    assert (info.make, info.model, info.software) == ("Marsh Instruments", "Flatbed 9", "Tidescan 2")
    assert info.dpi == 1200
    assert info.taken_at == "2024-03-07T08:09:10+01:00"


def test_a_bare_tiff_says_nothing(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, GREY, metadata=None, software=False)
    info = identify(path)
    assert (info.make, info.model, info.software, info.taken_at, info.dpi) == (None,) * 5
    assert info.description == ()
    assert info.colour_profile is None


@pytest.mark.parametrize(
    ("resolution", "unit", "dpi"),
    [
        ((1200, 1200), "INCH", 1200),
        ((472.4409, 472.4409), "CENTIMETER", 1200),
        ((1200, 1200), "NONE", None),
        ((1, 1), "INCH", None),
        ((1200, 600), "INCH", None),
        ((1e6, 1e6), "INCH", None),
        ((72, 72), "INCH", 72),
    ],
)
def test_resolution(tmp_path, resolution, unit, dpi):
    info = write(tmp_path / "a.tif", resolution=resolution, resolutionunit=unit)
    assert info.dpi == (None if dpi is None else pytest.approx(dpi, abs=0.01))


def test_a_filler_for_resolution_is_not_believed(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.zeros((20, 4800), np.uint8), resolution=(72, 72), resolutionunit="INCH")
    info = identify(path)
    assert info.dpi is None
    assert any("72 dpi" in note for note in info.notes)


def test_resolution_of_nought(tmp_path):
    info = write(tmp_path / "a.tif", extratags=[(282, 5, 1, (1, 0), True), (283, 5, 1, (1, 0), True)])
    assert info.dpi is None


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        ("2024:03:04 05:06:07", "2024-03-04T05:06:07"),
        ("2024-03-04T05:06:07", "2024-03-04T05:06:07"),
        ("0000:00:00 00:00:00", None),
        ("2024:13:04 05:06:07", None),
        ("    :  :     :  :  ", None),
    ],
)
def test_dates(tmp_path, date, expected):
    info = write(tmp_path / "a.tif", extratags=[(306, 2, 20, date, True)])
    assert info.taken_at == expected


@pytest.mark.parametrize("suffix", ["jpg", "png"])
@pytest.mark.parametrize(
    ("comment", "expected"),
    [
        (b"ASCII\0\0\0BW-07, kiln", "BW-07, kiln"),
        (b"UNICODE\0" + "Öfen".encode("utf-16-le"), "Öfen"),
        (b"UNICODE\0" + "Öfen".encode("utf-16-be"), "Öfen"),
        (bytes(8) + "Öfen".encode(), "Öfen"),
    ],
)
def test_exif_of_png_and_jpeg(tmp_path, suffix, comment, expected):
    image = Image.fromarray((GREY >> 3).astype(np.uint8))
    exif = image.getexif()
    exif[271], exif[272], exif[305] = "Marsh Instruments", "Flatbed 9", "Tidescan 2"
    exif[282] = exif[283] = 1200.0
    exif[296] = 2
    exif[0x9C9B] = wide("Ofenmündung")
    exif.get_ifd(0x8769)[0x9286] = comment
    exif.get_ifd(0x8769)[0x9003] = "2023:01:01 00:00:00"
    exif.get_ifd(0x8769)[0x9004] = "2024:03:04 05:06:07"
    exif.get_ifd(0x8769)[0x9012] = "+01:00"
    path = tmp_path / f"a.{suffix}"
    image.save(path, exif=exif)
    info = identify(path)
    assert (info.make, info.model, info.software) == ("Marsh Instruments", "Flatbed 9", "Tidescan 2")
    assert info.dpi == 1200
    assert info.description == ("Ofenmündung", expected)
    assert info.taken_at == "2024-03-04T05:06:07+01:00"


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_xmp(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    image = Image.fromarray((GREY >> 3).astype(np.uint8))
    if suffix == "png":
        told = PngInfo()
        told.add_itxt("XML:com.adobe.xmp", XMP.decode())
        image.save(path, pnginfo=told)
    elif suffix == "jpg":
        image.save(path, xmp=XMP)
    else:
        tifffile.imwrite(path, GREY, metadata=None, extratags=[(700, 1, None, XMP, True)])
    info = identify(path)
    assert set(info.description) == {"BW-19", "Tongrube, Nordrand", "clay & water"}
    assert info.taken_at == "2024-03-07T08:09:10+01:00"


@pytest.mark.parametrize(
    "packet",
    [
        b"<not xml",
        b'<!DOCTYPE a [<!ENTITY b "BW-01">]><a xmlns:d="http://purl.org/dc/elements/1.1/"><d:title>&b;</d:title></a>',
        b"\xff\xfe\xfd",
        b'<?xml version="1.0" encoding="nonsense"?><a/>',
    ],
)
def test_a_broken_packet_says_nothing(tmp_path, packet):
    info = write(tmp_path / "a.tif", extratags=[(700, 1, None, packet, True)])
    assert info.description == ()


def test_broken_exif_is_named_and_the_scan_is_taken(tmp_path):
    path = tmp_path / "a.jpg"
    Image.fromarray((GREY >> 3).astype(np.uint8)).save(path)
    raw = path.read_bytes()
    for block in (b"", b"II*\0", b"II*\0\x08\0\0\0\xff\xff" + b"\xff" * 40, b"nonsense at any rate"):
        body = b"Exif\0\0" + block
        path.write_bytes(raw[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + raw[2:])
        assert identify(path).orientation == 1


def test_control_signs_and_endless_texts_are_tamed(tmp_path):
    info = write(tmp_path / "a.tif", description="a\x07b\x1b[31mc" + "d" * 9000)
    (text,) = info.description
    assert text.startswith("a b [31mc")
    assert len(text) == 4000


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_colour_profile_is_named(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    Image.fromarray(np.zeros((30, 40, 3), np.uint8)).save(path, icc_profile=profile.tobytes())
    assert identify(path).colour_profile == "sRGB built-in"
