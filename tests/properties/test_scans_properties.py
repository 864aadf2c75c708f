"""Whatever a TIFF's layout, the streamed sums are the plain ones; whatever is broken, only ScanError comes."""

import io
import tempfile
from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from negcat.errors import ScanError
from negcat.scans import read_header, read_patch, read_reduced, take

FEW = settings(max_examples=60, deadline=None)


@FEW
@given(
    height=st.integers(16, 120),
    width=st.integers(16, 120),
    channels=st.sampled_from([1, 3]),
    bits=st.sampled_from([8, 16]),
    compression=st.sampled_from([None, "zlib"]),
    rows=st.integers(1, 130),
    tile=st.sampled_from([None, (16, 16), (48, 32)]),
    orientation=st.integers(1, 8),
    max_side=st.integers(1, 130),
    data=st.data(),
)
def test_means_and_patches(
    height, width, channels, bits, compression, rows, tile, orientation, max_side, data
):
    random = np.random.default_rng(height * 1000 + width)
    kind = np.uint16 if bits == 16 else np.uint8
    written = random.integers(0, 1 << bits, (height, width, channels)).astype(kind)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.tif"
        tifffile.imwrite(
            path,
            written if channels == 3 else written[..., 0],
            photometric="rgb" if channels == 3 else "minisblack",
            compression=compression,
            extratags=[(274, 3, 1, orientation, True)],
            **({"tile": tile} if tile else {"rowsperstrip": rows}),
        )
        header = read_header(path)
        whole = read_patch(header, 0, 0, header.width, header.height)
        assert sorted(whole.ravel()) == sorted(written.ravel().astype(np.uint16) * (257 if bits == 8 else 1))
        reduced = read_reduced(header, max_side)
        x0, y0 = data.draw(st.integers(0, header.width - 1)), data.draw(st.integers(0, header.height - 1))
        x1 = data.draw(st.integers(x0 + 1, header.width))
        y1 = data.draw(st.integers(y0 + 1, header.height))
        np.testing.assert_array_equal(read_patch(header, x0, y0, x1, y1), whole[y0:y1, x0:x1])
    factor = reduced.factor
    assert max(reduced.codes.shape[:2]) <= max_side
    assert factor == 1 or -(-max(height, width) // (factor - 1)) > max_side
    row, column = y0 // factor, x0 // factor
    block = whole[row * factor : (row + 1) * factor, column * factor : (column + 1) * factor]
    np.testing.assert_allclose(
        reduced.codes[row, column], block.reshape(-1, channels).mean(axis=0), rtol=1e-6
    )
    # every pixel counts once: the blocks' means, weighed by their sizes, make the whole's mean
    counts = [np.diff(np.append(np.arange(0, n, factor), n)) for n in whole.shape[:2]]
    weights = counts[0][:, None, None] * counts[1][None, :, None]
    np.testing.assert_allclose(
        (reduced.codes * weights).sum(axis=(0, 1)) / weights.sum(),
        whole.reshape(-1, channels).mean(axis=0),
        rtol=1e-5,
    )
    assert reduced.histogram.sum() == height * width * channels


def _wholes():
    ramp = (np.linspace(0, 60000, 64)[None, :] + np.linspace(0, 5000, 48)[:, None]).astype(np.uint16)
    ramp += np.random.default_rng(2).integers(0, 300, ramp.shape).astype(np.uint16)
    for options in ({}, {"compression": "lzw", "rowsperstrip": 5}, {"compression": "zlib", "tile": (16, 16)}):
        buffer = io.BytesIO()
        tifffile.imwrite(buffer, ramp, resolution=(1200, 1200), description="BW-07", **options)
        yield buffer.getvalue()
    yield imagecodecs.png_encode(ramp)
    for options in ({}, {"progressive": True}):
        buffer = io.BytesIO()
        image = Image.fromarray((ramp >> 8).astype(np.uint8))
        exif = image.getexif()
        exif[0x0112] = 6
        image.save(buffer, "JPEG", exif=exif, **options)
        yield buffer.getvalue()


WHOLES = list(_wholes())


@settings(max_examples=400, deadline=None)
@given(
    which=st.integers(0, len(WHOLES) - 1),
    wounds=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=6),
    keep=st.one_of(st.just(1.0), st.floats(0, 1)),
    early=st.booleans(),
)
def test_nothing_but_scan_error(which, wounds, keep, early):
    raw = bytearray(WHOLES[which])
    for where, value in wounds:
        # half of the time among the headers, where a wound does most
        raw[int(where * (min(400, len(raw)) if early else len(raw)))] = value
    raw = raw[: int(len(raw) * keep)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a"
        path.write_bytes(raw)
        refusal = None
        try:
            info, reduced = take(path, 32)
        except ScanError as error:
            refusal = str(error)
    if refusal is not None:
        assert refusal.startswith(f"{path}: ")
        assert "\n" not in refusal
        return
    assert np.isfinite(reduced.codes).all()
    assert reduced.codes.shape[2] == info.channels
    assert wounds or len(raw) == len(WHOLES[which])
