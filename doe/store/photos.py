"""Photos without what they tell about the place: location, device and text metadata are left out on the way in.

Only the containers are walked; the picture itself is copied byte for byte, so nothing is lost to the eye. A JPEG keeps one
fact of its metadata, which way up it is. Layouts: ITU-T T.81 (JPEG), Exif 2.32 and TIFF 6.0 (orientation, tag 0x0112),
W3C PNG Specification, third edition, ICC.1:2010, B.4 (colour profile in JPEG).
"""

from __future__ import annotations

import struct

from doe.model.errors import DataError

_PNG_HEAD = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset(b"IHDR PLTE IDAT IEND tRNS gAMA cHRM sRGB iCCP sBIT pHYs bKGD".split())
_EXIF, _PROFILE, _COMMENT, _SCAN, _END = 0xE1, 0xE2, 0xFE, 0xDA, 0xD9
_JPEG_KEPT = frozenset([0xE0, 0xEE])  # application segments: JFIF, and how colours are coded
_UPRIGHT = 1


def clean_photo(data: bytes, filename: str) -> bytes:
    """Return a JPEG or PNG without its metadata.

    Parameters
    ----------
    data : bytes
        The file as it is.
    filename : str
        For the sentence if it cannot be used.

    Raises
    ------
    DataError
        If it is no JPEG or PNG, or is cut short.
    """
    try:
        if data.startswith(b"\xff\xd8"):
            return _clean_jpeg(data)
        if data.startswith(_PNG_HEAD):
            return _clean_png(data)
    except (IndexError, struct.error, ValueError):
        raise DataError(f"Photo '{filename}' is damaged or cut short; save it again.") from None
    raise DataError(f"Photo '{filename}' is no JPEG or PNG picture; save it as one of these.")


def _clean_jpeg(data: bytes) -> bytes:
    """Copy the segments up to the end of the image; what phones append behind it is left out too."""
    kept = [data[:2]]
    place, turned = 2, _UPRIGHT
    while True:
        if data[place] != 0xFF:
            raise ValueError("no marker where one must be")
        while data[place + 1] == 0xFF:  # any marker may have fill bytes in front (T.81, B.1.1.2)
            place += 1
        marker = data[place + 1]
        if marker == _END:
            break
        end = place + 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        if end > len(data) or end < place + 4:
            raise ValueError("a segment runs past the end")
        segment = data[place:end]
        if marker == _EXIF and segment[4:10] == b"Exif\0\0":
            turned = _orientation(segment[10:])
        if marker == _SCAN:
            end = _end_of_scan(data, end)
            segment = data[place:end]
        if _belongs_to_picture(marker, segment):
            kept.append(segment)
        place = end
    if turned != _UPRIGHT:
        kept.insert(1, _exif_with(turned))
    return b"".join([*kept, b"\xff\xd9"])


def _belongs_to_picture(marker: int, segment: bytes) -> bool:
    """Tell whether a segment is needed to show the picture in its own colours."""
    if marker == _PROFILE:
        return segment[4:16] == b"ICC_PROFILE\0"
    return marker in _JPEG_KEPT or not (0xE0 <= marker <= 0xEF or marker == _COMMENT)


def _end_of_scan(data: bytes, start: int) -> int:
    """Find the marker after coded data, in which FF is followed by 00 or by a restart marker."""
    place = data.index(b"\xff", start)
    while data[place + 1] == 0x00 or 0xD0 <= data[place + 1] <= 0xD7 or data[place + 1] == 0xFF:
        place = data.index(b"\xff", place + (1 if data[place + 1] == 0xFF else 2))
    return place


def _orientation(tiff: bytes) -> int:
    """Read which way up the picture is, upright where it cannot be told."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return _UPRIGHT
    try:
        (start,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, start)
        for entry in range(count):
            tag, _kind, _n, value = struct.unpack_from(f"{order}HHIH", tiff, start + 2 + 12 * entry)
            if tag == 0x0112:
                return int(value) if 1 <= value <= 8 else _UPRIGHT
    except struct.error:
        return _UPRIGHT
    return _UPRIGHT


def _exif_with(turned: int) -> bytes:
    """Return an Exif segment that holds the orientation and nothing else."""
    tiff = b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 0x0112, 3, 1, turned, 0, 0)
    body = b"Exif\0\0" + tiff
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _clean_png(data: bytes) -> bytes:
    kept, place, name = [_PNG_HEAD], len(_PNG_HEAD), b""
    while name != b"IEND":
        size, name = struct.unpack_from(">I4s", data, place)
        end = place + 12 + size
        if end > len(data):
            raise ValueError("a chunk runs past the end")
        if name in _PNG_KEPT:
            kept.append(data[place:end])
        place = end
    return b"".join(kept)
