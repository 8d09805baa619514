"""Photos lose what a camera wrote beside them and nothing of the picture, seen by another library."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps, PngImagePlugin

from thimble.exchange.pictures import Unreadable, without_metadata

JPEG, PNG = "image/jpeg", "image/png"
GPS, ORIENTATION, MAKER, TAKEN, SERIAL = 0x8825, 0x0112, 0x010F, 0x9003, 0xA431
SECRETS = (
    b"Invented Camera",
    b"2026:03:02",
    b"SERIAL-77",
    b"48.13",
    b"Ada Invented",
    b"http://ns.adobe",
)


def picture() -> Image.Image:
    """Every corner has another colour, so that turning or mirroring it shows."""
    image = Image.new("RGB", (48, 32), (250, 250, 250))
    for corner, colour in (((0, 0), "red"), ((24, 0), "green"), ((0, 16), "blue")):
        image.paste(colour, (*corner, corner[0] + 24, corner[1] + 16))
    return image


def exif(way_up: int | None = None) -> Image.Exif:
    told = Image.Exif()
    told[MAKER] = "Invented Camera"
    if way_up is not None:
        told[ORIENTATION] = way_up
    told.get_ifd(GPS).update({1: "N", 2: (48.0, 13.0, 30.0), 3: "E", 4: (11.0, 34.0, 0.0)})
    told.get_ifd(0x8769).update({TAKEN: "2026:03:02 10:00:00", SERIAL: "SERIAL-77"})
    return told


def jpeg(way_up: int | None = None, **more: Any) -> bytes:
    out = BytesIO()
    picture().save(out, "JPEG", exif=exif(way_up), quality=90, **more)
    return out.getvalue()


def png(way_up: int | None = None, mode: str = "RGB", **more: Any) -> bytes:
    out, text = BytesIO(), PngImagePlugin.PngInfo()
    text.add_text("Author", "Ada Invented")
    text.add_itxt("XML:com.adobe.xmp", "http://ns.adobe.com/xap/ 48.13", zip=True)
    picture().convert(mode).save(out, "PNG", exif=exif(way_up), pnginfo=text, **more)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    image = Image.open(BytesIO(content))
    image.load()
    return image


def shown(content: bytes) -> tuple[tuple[int, int], bytes]:
    """As a screen shows it: the way up is heeded."""
    turned = ImageOps.exif_transpose(opened(content)).convert("RGBA")
    return turned.size, turned.tobytes()


def tags(content: bytes) -> dict[int, Any]:
    return dict(opened(content).getexif())


@pytest.mark.parametrize("way_up", [None, *range(1, 9)])
@pytest.mark.parametrize(("make", "kind"), [(jpeg, JPEG), (png, PNG)])
def test_place_time_and_camera_go_and_the_picture_is_shown_as_before(
    make: Any, kind: str, way_up: int | None
) -> None:
    before = make(way_up)
    assert opened(before).getexif().get_ifd(GPS)[2] == (48.0, 13.0, 30.0)
    after = without_metadata(before, kind)
    # Nothing else is left, and to the last point nothing is other than before.
    assert tags(after) == ({} if way_up in {None, 1} else {ORIENTATION: way_up})
    assert not opened(after).getexif().get_ifd(GPS)
    assert not any(secret in after for secret in SECRETS)
    assert opened(after).tobytes() == opened(before).tobytes()
    assert shown(after) == shown(before)
    assert without_metadata(after, kind) == after


@pytest.mark.parametrize("order", [b"II", b"MM"])
@pytest.mark.parametrize(("value", "kept"), [(0, None), (6, 6), (8, 8), (9, None), (0xFFFF, None)])
def test_a_way_up_that_is_none_is_not_kept(order: bytes, value: int, kept: int | None) -> None:
    big = order == b"MM"
    end: Any = "big" if big else "little"
    tiff = order + (42).to_bytes(2, end) + (8).to_bytes(4, end) + (1).to_bytes(2, end)
    tiff += b"".join(n.to_bytes(size, end) for n, size in
                     ((ORIENTATION, 2), (3, 2), (1, 4), (value, 2), (0, 2), (0, 4)))  # fmt: skip
    plain = without_metadata(jpeg(), JPEG)
    body = b"Exif\0\0" + tiff
    with_it = plain[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body + plain[2:]
    assert tags(without_metadata(with_it, JPEG)) == ({ORIENTATION: kept} if kept else {})


@pytest.mark.parametrize(
    "more",
    [{"progressive": True}, {"subsampling": 0}, {"restart_marker_rows": 1}, {"optimize": True},
     {"comment": b"Ada Invented"}, {"xmp": b"http://ns.adobe.com/xap/ 48.13"}],
    ids=str,
)  # fmt: skip
def test_every_build_of_a_jpeg_keeps_its_picture(more: dict[str, Any]) -> None:
    before = jpeg(6, **more)
    after = without_metadata(before, JPEG)
    assert shown(after) == shown(before)
    assert not any(secret in after for secret in SECRETS)
    assert "comment" not in opened(after).info


@pytest.mark.parametrize(("mode", "more"), [("L", {}), ("CMYK", {}), ("RGB", {"keep_rgb": True})])
def test_colours_are_read_as_before(mode: str, more: dict[str, Any]) -> None:
    """Without the marker that says so, colours that are stored as they are would be taken for others."""
    out = BytesIO()
    profile = b"\0" * 128 + b"invented profile"
    picture().convert(mode).save(out, "JPEG", exif=exif(3), icc_profile=profile, **more)
    content = out.getvalue()
    # Parts that are called 1, 2 and 3 are red, green and blue by the marker alone.
    content = content.replace(b"R\x11\0G\x11\0B\x11\0", b"\1\x11\0\2\x11\0\3\x11\0")
    content = content.replace(b"\3R\0G\0B\0", b"\3\1\0\2\0\3\0")
    before, after = opened(content), opened(without_metadata(content, JPEG))
    assert after.mode == before.mode == mode
    assert after.tobytes() == before.tobytes()
    assert after.info["icc_profile"] == profile


@pytest.mark.parametrize("mode", ["P", "RGBA", "L", "1"])
def test_every_kind_of_png_keeps_its_picture(mode: str) -> None:
    before = png(8, mode, **({"transparency": bytes(range(256))} if mode == "P" else {}))
    after = without_metadata(before, PNG)
    assert shown(after) == shown(before)
    assert not any(secret in after for secret in SECRETS)


def test_what_stands_behind_the_end_goes() -> None:
    """Telephones write a film or further pictures there, with places of their own."""
    for before, kind in ((jpeg(), JPEG), (png(), PNG)):
        for behind in (jpeg(6), b"48.13" * 400, b"\0"):
            assert without_metadata(before + behind, kind) == without_metadata(before, kind)


def test_the_small_copy_in_front_of_a_picture_goes() -> None:
    plain = without_metadata(jpeg(), JPEG)
    assert plain[2:4] == b"\xff\xe0"
    with_copy = (
        plain[:4] + (16 + 12).to_bytes(2, "big") + plain[6:18] + b"\2\2" + b"48.13" * 2 + b"xx"
    )
    assert without_metadata(with_copy + plain[20:], JPEG) == plain


def test_a_pdf_is_given_back_as_it_is() -> None:
    assert without_metadata(b"%PDF-1.7 48.13", "application/pdf") == b"%PDF-1.7 48.13"


@given(st.data())
def test_a_damaged_picture_is_refused_or_has_nothing_more_to_take_out(
    data: st.DataObject,
) -> None:
    make, kind = data.draw(st.sampled_from([(jpeg, JPEG), (png, PNG)]))
    content = bytearray(make(6))
    for _ in range(data.draw(st.integers(0, 4))):
        content[data.draw(st.integers(2, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(content[: data.draw(st.integers(0, len(content)))])
    try:
        after = without_metadata(cut, kind)
    except Unreadable:
        return
    assert without_metadata(after, kind) == after
    assert len(after) <= len(cut)


@pytest.mark.parametrize("kind", [JPEG, PNG])
@given(content=st.binary(max_size=80))
def test_what_is_no_picture_is_refused(kind: str, content: bytes) -> None:
    for front in (b"", b"\xff\xd8", b"\x89PNG\r\n\x1a\n"):
        with pytest.raises(Unreadable, match="take the photo or the scan once more"):
            without_metadata(front + content.replace(b"\xff", b""), kind)
