"""Photos on the way in: decoded, set upright, made smaller and written anew, so that nothing but the picture is kept."""

from __future__ import annotations

import io
import warnings

from PIL import Image, ImageOps, UnidentifiedImageError

from doe.model.errors import DataError
from doe.store.attachments import clean_name

_LONGEST_SIDE = 2000
_MOST_PIXELS = 80_000_000
_FORMATS = ("JPEG", "PNG", "WEBP")


def ready_photo(data: bytes, filename: str) -> tuple[str, bytes]:
    """Return name and content of a photo as it may be kept: a JPEG without metadata.

    Parameters
    ----------
    data : bytes
        As uploaded.
    filename : str
        As the browser calls it; folders in it are dropped.

    Raises
    ------
    DataError
        If it is no JPEG, PNG or WebP picture, is damaged, or has more than 80 million pixels (a small file may unfold to
        more than a machine can hold).
    """
    name = clean_name(filename[-120:] or "photo")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the size is judged below
            picture = Image.open(io.BytesIO(data), formats=_FORMATS)
        if picture.width * picture.height > _MOST_PIXELS:
            raise DataError(
                f"Photo '{name}' has {picture.width} by {picture.height} pixels; at most 80 million in all can be taken."
            )
        picture.draft("RGB", (2 * _LONGEST_SIDE, 2 * _LONGEST_SIDE))
        shown = _opaque(ImageOps.exif_transpose(picture))
    except Image.DecompressionBombError:
        raise DataError(f"Photo '{name}' has far too many pixels; at most 80 million can be taken.") from None
    except UnidentifiedImageError:
        raise DataError(f"Photo '{name}' is no JPEG, PNG or WebP picture; save it as one of these.") from None
    except (OSError, SyntaxError, ValueError, IndexError) as err:
        if isinstance(err, DataError):
            raise
        raise DataError(f"Photo '{name}' is damaged or cut short; save it again.") from None
    out = io.BytesIO()
    shown.save(out, "JPEG", quality=85)
    return f"{name.rsplit('.', 1)[0]}.jpg", out.getvalue()


def _opaque(picture: Image.Image) -> Image.Image:
    """Return a picture of its own, small enough, on white where it can be seen through; a sketch has black lines there."""
    if picture.mode.startswith("I"):  # grey in 16 bits, which a mere conversion would cut off at 255
        picture = picture.convert("I").point(lambda value: value / 256).convert("L")
    has_holes = "A" in picture.getbands() or "transparency" in picture.info
    small = picture.convert("RGBA" if has_holes else "RGB")
    small.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    paper = Image.new("RGB", small.size, "white")
    paper.paste(small, mask=small.getchannel("A") if has_holes else None)
    return paper
