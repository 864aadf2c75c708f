"""XMP side files: by the standard, of the archive's values, and never in the way of another's file."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest

from negcat.work.export_xmp_described import documents
from negcat.work.export_xmp_packet import is_own, packet
from tests.cli.test_export_records import run

SCHEMAS = Path(__file__).parents[2] / "schemas"

NAMES = {
    "http://www.w3.org/1999/02/22-rdf-syntax-ns#": "rdf",
    "http://purl.org/dc/elements/1.1/": "dc",
    "http://ns.adobe.com/xap/1.0/": "xmp",
    "http://ns.adobe.com/exif/1.0/": "exif",
    "http://cipa.jp/exif/1.0/": "exifEX",
    "http://ns.adobe.com/photoshop/1.0/": "photoshop",
    "http://iptc.org/std/Iptc4xmpExt/2008-02-29/": "Iptc4xmpExt",
    "https://negcat.invalid/xmp/1/": "negcat",
}
RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"


def properties(element: Element) -> dict[str, Any]:
    """Read the properties of an RDF resource."""
    found: dict[str, Any] = {}
    for child in element:
        uri, _, name = child.tag[1:].partition("}")
        found[f"{NAMES[uri]}:{name}"] = value_of(child)
    return found


def value_of(element: Element) -> Any:
    if element.get(f"{RDF}parseType") == "Resource":
        return properties(element)
    if len(element):
        (items,) = element
        assert items.tag in {f"{RDF}{kind}" for kind in ("Seq", "Bag", "Alt")}
        return [value_of(item) for item in items]
    return element.text


def read(file: Path) -> dict[str, Any]:
    root = ElementTree.fromstring(file.read_bytes())
    assert root.tag == "{adobe:ns:meta/}xmpmeta"
    ((about,),) = root
    assert about.get(f"{RDF}about") == ""
    return properties(about)


def as_written(value: Any) -> Any:
    """Write a value of the JSON as an XMP property holds it; without what isn't known."""
    if isinstance(value, dict):
        return {
            "negcat:" + "".join([first, *(part.title() for part in rest)]): as_written(part)
            for name, part in value.items()
            for first, *rest in [name.split("_")]
            if part is not None and part != []
        }
    if isinstance(value, list):
        return [as_written(item) for item in value]
    return str(value)


def agree(found: Any, told: Any) -> bool:
    """Tell whether all that was found is what was told."""
    if isinstance(found, dict):
        return all(name in told and agree(value, told[name]) for name, value in found.items())
    if isinstance(found, list):
        return len(found) == len(told) and all(map(agree, found, told))
    return found == told


def checked_by_exiftool(folder: Path) -> dict[str, dict[str, Any]]:
    """Read all side files of a folder with ExifTool, which must find nothing to warn of."""
    told = subprocess.run(
        ["exiftool", "-n", "-json", "-struct", "-validate", "-warning", "-a", "-G1", "-all:all", "-ext", "xmp", "."],
        cwd=folder, capture_output=True, text=True, check=True,
    )  # fmt: skip
    files = {Path(one["SourceFile"]).name: one for one in json.loads(told.stdout)}
    for name, one in files.items():
        warnings = [value for key, value in one.items() if "Warning" in key or "Error" in key]
        assert (one["ExifTool:Validate"], warnings) == ("0 0 0", []), name
    return files


@pytest.mark.parametrize("archive", ["sample", "full_of_markup", "scanned_twice"])
def test_side_files_say_what_the_archive_says(archive, tmp_path, request):
    root, folder = request.getfixturevalue(archive), tmp_path / "side files"
    told = json.loads(run("export", "xmp", folder, "-a", root, "--json").stdout)
    files = {Path(item["file"]).name for item in told["items"]}
    assert files == {path.name for path in folder.iterdir()}
    assert told["written"] == len(files) > 0
    by_exiftool = checked_by_exiftool(folder)
    assert set(by_exiftool) == files
    for item in told["items"]:
        shown = json.loads(run("show", item["sheet"], "-a", root, "--json").stdout)
        (scan,) = [one for one in shown["scans"] if one["scan"] == item["scan"]]
        name = Path(scan["path"]).name
        assert Path(item["file"]).name in (f"{name}.xmp", f"{name}.{scan['scan']}.xmp")
        found = read(Path(item["file"]))
        exposure = shown["exposure"]

        # What is not ours, by hand.
        assert found["dc:identifier"] == shown["sheet"]
        assert found["dc:title"] == [shown["sheet"]]
        assert found.get("dc:description") == (shown["subject"] and [shown["subject"]])
        assert found["exif:DateTimeOriginal"] == found["photoshop:DateCreated"] == shown["exposed_at"]
        assert found["exifEX:LensModel"] == shown["lens"]
        assert found.get("xmp:CreateDate") == found.get("exif:DateTimeDigitized") == scan["taken_at"]
        places = [place["Iptc4xmpExt:LocationName"] for place in found["Iptc4xmpExt:LocationCreated"]]
        assert places == [[shown["place"]]]

        # What is ours, as a whole, and the main figures by name.
        ours = {name: value for name, value in found.items() if name.startswith("negcat:")}
        everything = as_written({**shown, "scan": {**scan, "file_name": Path(scan["path"]).name}})
        assert agree(ours, everything)
        for name in ("sheet", "film", "stop", "time", "tag", "cell"):
            assert found[f"negcat:{name}"] == shown[name]
        assert found["negcat:scan"]["negcat:sha256"] == scan["sha256"]
        assert found.get("negcat:development", {}).get("negcat:developer") == (
            shown["development"] and shown["development"]["developer"]
        )
        assert len(found.get("negcat:readings", [])) == len(shown["readings"])
        for reading, of in zip(found.get("negcat:readings", []), shown["readings"], strict=True):
            for name, own in (
                ("planned_zone", "plannedZone"), ("given_zone", "givenZone"), ("print_zone", "printZone"),
                ("density", "density"), ("sd", "sd"),
            ):  # fmt: skip
                assert (None if of[name] is None else str(of[name])) == reading.get(f"negcat:{own}")
        assert found["negcat:result"]["negcat:verdict"] == shown["result"]["verdict"]
        assert found["negcat:result"].get("negcat:why", []) == shown["result"]["why"]
        assert [line.get("negcat:stops") for line in found["negcat:ledger"]] == [
            None if line["stops"] is None else str(line["stops"]) for line in shown["ledger"]
        ]

        # What another program makes of it.
        seen = by_exiftool[Path(item["file"]).name]
        assert seen["XMP-exif:ExposureTime"] == pytest.approx(exposure["shutter_time_s"], rel=1e-6)
        assert seen["XMP-exif:FNumber"] == pytest.approx(exposure["effective_f_number"], rel=1e-6)
        assert seen["XMP-exifEX:PhotographicSensitivity"] == shown["exposure_index"]
        assert seen["XMP-exif:FocalLength"] > 0
        assert str(seen["XMP-dc:Identifier"]) == shown["sheet"]
        assert seen["XMP-exif:DateTimeOriginal"].replace(":", "").replace(" ", "T") == (
            shown["exposed_at"].replace("-", "").replace(":", "")
        )


def test_an_exact_stop_and_time_and_the_focal_length_of_the_cell(archive, measured, tmp_path):
    measured.run("export", "xmp", tmp_path / "out")
    found = read(tmp_path / "out" / "BW-01.tif.xmp")
    top, bottom = map(int, found["exif:FNumber"].split("/"))
    assert top / bottom == pytest.approx(2**4.75, rel=1e-9)
    assert found["exif:ExposureTime"] == "1/4"
    assert found["exif:FocalLength"] == "180/1"
    assert found["exif:ISOSpeedRatings"] == ["100"]


@pytest.fixture
def own(sample: Path, tmp_path: Path, copy_tree: Callable[[Path, Path], None]) -> Path:
    root = tmp_path / "own"
    copy_tree(sample, root)
    return root


def masters(root: Path) -> dict[Path, tuple[str, int]]:
    return {
        path: (sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
        for path in root.rglob("*")
        if path.suffix in (".tif", ".jpg", ".png")
    }


def test_beside_the_masters_only_own_files_are_replaced(own, tmp_path):
    before = masters(own / "scans")
    first = json.loads(run("export", "xmp", "-a", own, "--json").stdout)
    assert (first["written"], first["refused"], first["folder"]) == (len(first["items"]), 0, None)
    assert all(Path(item["file"]) == own / f"{item['master']}.xmp" for item in first["items"])
    again = json.loads(run("export", "xmp", "-a", own, "--json").stdout)
    assert (again["written"], again["unchanged"]) == (0, first["written"])

    # A changed record changes its own side file only.
    (scan,) = [item for item in first["items"] if item["sheet"] == "BW-10"]
    own_file = Path(scan["file"])
    said, files = "Engine-house window, four panes gone", (own / "records").iterdir()
    (records,) = [file for file in files if said in file.read_text(encoding="utf-8")]
    text = records.read_text(encoding="utf-8").replace(said, "The window <again>")
    (tmp_path / records.name).write_text(text, encoding="utf-8")
    run("record", tmp_path / records.name, "-a", own)
    changed = json.loads(run("export", "xmp", "-a", own, "--json").stdout)
    assert [item["file"] for item in changed["items"] if item["status"] == "written"] == [str(own_file)]
    assert read(own_file)["dc:description"] == ["The window <again>"]

    # What somebody changed, and what isn't ours, stays; so does what a link leads to.
    others = [Path(item["file"]) for item in first["items"] if item["file"] != str(own_file)][:3]
    own_file.write_bytes(own_file.read_bytes().replace(b"again", b"by hand"))
    others[0].write_text("<x:xmpmeta xmlns:x='adobe:ns:meta/'/>", encoding="utf-8")
    elsewhere = tmp_path / "elsewhere.xmp"
    others[1].rename(elsewhere)
    others[1].symlink_to(elsewhere)
    others[2].unlink()
    others[2].mkdir()
    kept = {path: path.read_bytes() for path in (own_file, others[0], elsewhere)}
    result = run("export", "xmp", "-a", own, "--json", status=1)
    told = json.loads(result.stdout)
    refused = {item["file"]: item["reason"] for item in told["items"] if item["status"] == "refused"}
    assert set(refused) == {str(own_file), *map(str, others)}
    assert told["refused"] == len(refused)
    for file, reason in refused.items():
        assert "negcat didn't write it, or it was changed since" in reason
        assert reason in result.stderr
        assert file in reason
    assert {path: path.read_bytes() for path in kept} == kept
    assert others[1].is_symlink()
    assert masters(own / "scans") == before


def test_a_folder_that_cannot_be_written_and_masters_that_are_gone_are_named(own):
    items = json.loads(run("export", "xmp", "-a", own, "--json").stdout)["items"]
    for item in items:
        Path(item["file"]).unlink()
    gone, other, *_ = [own / item["master"] for item in items]
    gone.unlink()
    other.write_bytes(b"not the master")
    result = run("export", "xmp", "-a", own, status=1)
    assert f"{gone} is not there as it was taken" in result.stderr
    assert f"{other} is not there as it was taken" in result.stderr
    assert not gone.with_name(gone.name + ".xmp").exists()
    (own / "scans").rename(own / "away")
    result = run("export", "xmp", "-a", own, status=2)
    assert result.stderr.count(f"there is no folder {own / 'scans'}") == len(items)


def test_masters_named_alike_get_files_of_their_own(archive, tmp_path):
    for folder, seed in (("a", 1), ("b", 2)):
        archive.scan_sheet(f"{folder}/BW-01.tif", seed=seed)
    archive.scan_sheet(f"a/BW-02 {'long' * 60}.tif", seed=3)
    archive.run("ingest", "--scanner", "bench scanner", tmp_path / "a", tmp_path / "b")
    told = archive.json("export", "xmp", tmp_path / "out")
    files = {Path(item["file"]).name: item for item in told["items"]}
    assert set(files) == {path.name for path in (tmp_path / "out").iterdir()}
    assert len(files) == 3
    assert "BW-01.tif.xmp" in files
    for name, item in files.items():
        assert name == "BW-01.tif.xmp" or item["scan"] in name
        assert read(tmp_path / "out" / name)["negcat:scan"]["negcat:scan"] == item["scan"]
    # Beside the masters there is no clash, but a name may be too long to be written.
    result = archive.run("export", "xmp", "--json", status=1)
    told = json.loads(result.stdout)
    assert (told["written"], told["refused"]) == (2, 1)
    assert "can't be written (file name too long)" in result.stderr
    assert {path.name for path in (tmp_path / "b").iterdir()} == {"BW-01.tif", "BW-01.tif.xmp"}


def test_refused_as_a_whole(archive, tmp_path):
    assert "no scan is joined to a sheet" in archive.run("export", "xmp", tmp_path / "new", status=2).stderr
    assert not (tmp_path / "new").exists()
    assert "no scan is joined to a sheet" in archive.run("export", "xmp", status=2).stderr
    archive.scan_sheet("BW-01.tif")
    archive.run("ingest", "--scanner", "bench scanner", tmp_path / "BW-01.tif")
    assert "holds something already" in archive.run("export", "xmp", tmp_path, status=2).stderr


def test_another_archive_joins_by_a_side_file_of_ours(archive, tmp_path):
    # Its notes name another sheet, as notes do; the side file is for its own sheet all the same.
    made = "sheet: BW-02, film: Brickdust 100, lens: Aldwater, cell: rear, stop: 22, time: 1/4"
    notes = f"sheets:\n- {{{made}, notes: after BW-01}}"
    archive.run("record", archive.records(notes, "notes.yaml"))
    archive.scan_sheet("scan0017.tif")
    archive.run("ingest", "--scanner", "bench scanner", tmp_path / "scan0017.tif")
    archive.run("match", tmp_path / "scan0017.tif", "BW-02")
    archive.run("export", "xmp")
    text = (tmp_path / "scan0017.tif.xmp").read_text(encoding="utf-8")
    assert "after BW-01" in text
    new = tmp_path / "new"
    run("init", new)
    for file in ("records.yaml", "notes.yaml"):
        run("record", tmp_path / file, "-a", new)
    told = json.loads(run("ingest", tmp_path / "scan0017.tif", "-a", new, "--json").stdout)
    assert [(item["sheet"], item["status"]) for item in told["items"]] == [("BW-02", "added")]
    # One that was made to blow up is read as mere text.
    bomb = text.replace("<x:xmpmeta", '<!DOCTYPE x [<!ENTITY a "BW-01">]><x:xmpmeta', 1)
    (tmp_path / "scan0017.tif.xmp").write_text(bomb, encoding="utf-8")
    shutil.rmtree(new)
    run("init", new)
    run("record", tmp_path / "records.yaml", "-a", new)
    told = json.loads(run("ingest", tmp_path / "scan0017.tif", "-a", new, "--json").stdout)
    assert told["items"][0]["reason"] == "its side file names BW-01 and BW-02"


def test_what_xml_cannot_hold_is_marked():
    odd = "a\x00b\x0bc\ud800d\ufffee\r\nf\rg\U0001f4f7]]>&<"
    content = packet({"sheet": "BW-01", "notes": odd, "why": None})
    root = ElementTree.fromstring(content)
    (notes,) = root.iter("{https://negcat.invalid/xmp/1/}notes")
    assert notes.text == "a\ufffdb\ufffdc\ufffdd\ufffde\nf\ng\U0001f4f7]]>&<"
    assert is_own(content)
    assert not is_own(content.replace(b"BW-01", b"BW-1", 1))


def test_the_description_is_current():
    for name, text in documents().items():
        written = (SCHEMAS / name).read_text(encoding="utf-8")
        assert written == text, "stale: run python -m negcat.work.export_xmp_described"
    ElementTree.fromstring((SCHEMAS / "xmp.rdf").read_bytes())
