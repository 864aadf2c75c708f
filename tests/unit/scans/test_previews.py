"""Previews are written whole or not at all, and carry our tones."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from negcat.errors import QuantityError, ScanError
from negcat.scans import preview_of, write_preview


@pytest.mark.parametrize("shape", [(40, 50), (40, 50, 1), (40, 50, 3)])
def test_tones_come_back(tmp_path, shape):
    tones = np.broadcast_to(np.linspace(0, 255, 50).reshape((1, 50) + (1,) * (len(shape) - 2)), shape)
    path = tmp_path / "a.jpg"
    write_preview(preview_of(tones.astype(np.uint8), 92), path)
    with Image.open(path) as image:
        assert image.size == (50, 40)
        assert image.mode == ("RGB" if shape[-1] == 3 else "L")
        assert "exif" not in image.info
        assert np.abs(np.asarray(image).astype(float) - tones.reshape(np.asarray(image).shape)).max() < 8
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.jpg"]
    assert path.stat().st_mode & 0o777 == 0o644


def test_colour_is_not_subsampled(tmp_path):
    tones = np.zeros((32, 32, 3), np.uint8)
    tones[:, ::2, 0] = 255
    path = tmp_path / "a.jpg"
    write_preview(preview_of(tones, 95), path)
    with Image.open(path) as image:
        red = np.asarray(image)[..., 0].astype(int)
    assert (red[:, ::2] - red[:, 1::2]).min() > 180


def test_an_older_one_is_replaced_only_by_a_whole_one(tmp_path, monkeypatch):
    path = tmp_path / "a.jpg"
    write_preview(preview_of(np.zeros((20, 20), np.uint8)), path)
    before = path.read_bytes()

    def failing(*_, **__):
        raise OSError(28, "No space left on device")

    other = preview_of(np.full((20, 20), 9, np.uint8))
    monkeypatch.setattr(Path, "write_bytes", failing)
    with pytest.raises(ScanError, match="no space left on device"):
        write_preview(other, path)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.jpg"]


def test_folder_that_is_not_there(tmp_path):
    with pytest.raises(ScanError, match="can't be written"):
        write_preview(preview_of(np.zeros((20, 20), np.uint8)), tmp_path / "gone" / "a.jpg")


@pytest.mark.parametrize(
    "tones", [np.zeros((4, 4), np.uint16), np.zeros((4, 4, 2), np.uint8), np.zeros((0, 4), np.uint8)]
)
def test_what_is_no_picture(tmp_path, tones):
    with pytest.raises(QuantityError):
        write_preview(preview_of(tones), tmp_path / "a.jpg")
