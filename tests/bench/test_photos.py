"""Photographs lose what the camera wrote into them, and nothing else."""

import io
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin

from counterproof.bench import Bench, check
from counterproof.bench.photos import without_metadata
from counterproof.errors import UserError
from counterproof.kit import Instrument

PICTURE = Image.effect_noise((64, 48), 40).convert("RGB")


def _jpeg() -> bytes:
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation
    exif[0x010F] = "SECRETMAKER"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)  # latitude
    out = io.BytesIO()
    PICTURE.save(out, "JPEG", exif=exif, comment=b"SECRETPLACE")
    return out.getvalue()


def test_jpeg_keeps_picture_and_orientation_only() -> None:
    before = _jpeg()
    assert b"SECRETMAKER" in before
    after, suffix = without_metadata(before, "a.jpg")
    assert suffix == ".jpg"
    assert b"SECRET" not in after
    one, two = Image.open(io.BytesIO(before)), Image.open(io.BytesIO(after))
    assert dict(two.getexif()) == {0x0112: 6}
    assert two.tobytes() == one.tobytes()


def test_png_keeps_the_picture_only() -> None:
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", "SECRETPLACE")
    out = io.BytesIO()
    PICTURE.save(out, "PNG", pnginfo=info)
    after, suffix = without_metadata(out.getvalue(), "a.png")
    assert suffix == ".png"
    assert b"SECRET" not in after
    assert Image.open(io.BytesIO(after)).tobytes() == PICTURE.tobytes()


@pytest.mark.parametrize("cut", [2, 3, 30, 300, -1])
def test_damaged_pictures(cut: int) -> None:
    with pytest.raises(UserError, match="damaged picture"):
        without_metadata(_jpeg()[:cut], "a.jpg")


def test_photos_lie_on_the_bench(bench: Bench, tmp_path: Path) -> None:
    source = tmp_path / "front view.JPG"
    source.write_bytes(_jpeg())
    lantern = bench.get(Instrument, "Lantern")
    first = bench.add_photo(lantern, source)
    second = bench.add_photo(lantern, source)
    assert (first, second) == ("photos/front-view.jpg", "photos/front-view-2.jpg")
    bench.amend(lantern.model_copy(update={"photos": (first, second)}))
    assert check(bench).ok
    text = tmp_path / "a.txt"
    text.write_text("x")
    with pytest.raises(UserError, match="no JPEG or PNG"):
        bench.add_photo(lantern, text)
    with pytest.raises(UserError, match="There is no instrument"):
        bench.add_photo(Instrument(name="Wren"), source)
