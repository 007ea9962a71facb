import re
import struct
import zlib

import pytest

from doe.model.errors import DataError
from doe.store.photos import clean_photo
from tests.refusing import refused

# Segments as ITU-T T.81 lays them out; the coded data holds a stuffed FF, a restart marker and a would-be end marker
# inside a later segment.
SECRET = b"N 52.3702 E 4.8952"


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def exif(order: str, turned: int) -> bytes:
    entries = [(0x010F, 2, 4, 0), (0x0112, 3, 1, turned)]
    mark = {"<": b"II*\0", ">": b"MM\0*"}[order]
    rows = b"".join(struct.pack(f"{order}HHIHH", tag, kind, count, value, 0) for tag, kind, count, value in entries)
    return b"Exif\0\0" + mark + struct.pack(f"{order}IH", 8, len(entries)) + rows + bytes(4) + SECRET


def jpeg(turned: int = 6, order: str = "<") -> tuple[bytes, list[bytes]]:
    """Return a JPEG with metadata, and the segments that must survive."""
    tables, frame = segment(0xDB, bytes(65)), segment(0xC2, bytes(15))
    scan_1 = segment(0xDA, bytes(6)) + b"\x12\xff\x00\x34\xff\xd0\x56"
    later_table = segment(0xC4, b"\x00\xff\xd9\x11")
    scan_2 = segment(0xDA, bytes(6)) + b"\x77\xff\x00\x88"
    jfif = segment(0xE0, b"JFIF\0" + bytes(9))
    dropped = [segment(0xE1, exif(order, turned)), segment(0xE2, b"MPF\0" + SECRET), segment(0xEF, SECRET)]
    parts = [jfif, *dropped, segment(0xFE, SECRET), tables, frame, scan_1, later_table, scan_2]
    return b"\xff\xd8" + b"".join(parts) + b"\xff\xd9" + SECRET, [jfif, tables, frame, scan_1, later_table, scan_2]


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_jpeg_keeps_its_picture_and_loses_everything_that_names_a_place(order):
    """Exif, XMP, IPTC, comments and what phones append behind the image are gone; the coded data is the same bytes."""
    data, kept = jpeg(order=order)
    clean = clean_photo(data, "back.jpg")
    assert SECRET not in clean
    for part in kept:
        assert part in clean
    assert clean.endswith(b"\xff\xd9")


def test_a_jpeg_that_lies_on_its_side_stays_so():
    """The orientation of Exif (tag 0x0112) is the one fact that is kept, and a second cleaning changes nothing."""
    clean = clean_photo(jpeg(turned=6)[0], "back.jpg")
    assert clean[2:12] == b"\xff\xe1\x00\x22Exif\0\0"
    assert struct.pack(">HHIH", 0x0112, 3, 1, 6) in clean
    assert clean_photo(clean, "back.jpg") == clean
    assert b"Exif" not in clean_photo(jpeg(turned=1)[0], "back.jpg")


def test_a_jpeg_keeps_its_colours():
    """A wide colour profile (in as many pieces as it takes) says what the numbers mean; without it reds turn dull."""
    data, kept = jpeg()
    pieces = [segment(0xE2, b"ICC_PROFILE\0" + bytes([place, 2]) + b"profile") for place in (1, 2)]
    clean = clean_photo(data[:2] + b"".join(pieces) + data[2:], "back.jpg")
    assert SECRET not in clean
    assert all(part in clean for part in [*pieces, *kept])


def test_fill_bytes_before_a_marker_are_passed_over():
    """Any marker may have FF bytes in front (ITU-T T.81, B.1.1.2); they belong to no segment."""
    _, kept = jpeg()
    filled = b"\xff\xd8" + b"".join(b"\xff\xff" + part for part in kept) + b"\xff\xff\xff\xd9"
    assert (
        clean_photo(filled, "back.jpg").replace(b"\xff\xff\xff", b"\xff") == b"\xff\xd8" + b"".join(kept) + b"\xff\xd9"
    )


def test_a_png_keeps_its_picture_and_loses_its_text():
    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head, image, end = chunk(b"IHDR", bytes(13)), chunk(b"IDAT", b"abc"), chunk(b"IEND", b"")
    data = b"\x89PNG\r\n\x1a\n" + head + chunk(b"eXIf", SECRET) + chunk(b"tEXt", SECRET) + image + end + SECRET
    assert clean_photo(data, "x.png") == b"\x89PNG\r\n\x1a\n" + head + image + end
    with refused(DataError, "Photo 'x.png' is damaged or cut short; save it again."):
        clean_photo(data[: -len(SECRET) - 1], "x.png")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_photo_cut_short_is_refused_in_a_sentence(share):
    data, _ = jpeg()
    data = data[: data.index(b"\xff\xd9" + SECRET)]
    with pytest.raises(DataError, match=re.escape("Photo 'back.jpg' is damaged or cut short; save it again.")):
        clean_photo(data[: int(len(data) * share)], "back.jpg")


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"MZ\x90\x00", b"\x00\x00\x00\x18ftypheic"])
def test_anything_else_is_refused_in_a_sentence(data):
    sentence = "Photo 'back.exe' is no JPEG or PNG picture; save it as one of these."
    with pytest.raises(DataError, match=re.escape(sentence)):
        clean_photo(data, "back.exe")
