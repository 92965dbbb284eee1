"""What is uploaded as a picture or a paper is checked by decoding it, and pictures are made anew.

A picture that was decoded and written again holds its points and nothing else: no place where it
was taken, no maker's notes, nothing hidden behind its end.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from runstrue.errors import InputError

if TYPE_CHECKING:
    from PIL import Image
    from starlette.datastructures import UploadFile

FILE_BYTES = 40_000_000
MOST_POINTS = 120_000_000  # before scaling: more would fill the memory
PHOTO_SIDE, PAPER_SIDE = 1600, 2600
QUALITY = 84
PICTURES = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "MPO")


@dataclass(frozen=True, slots=True)
class Taken:
    """A file that is ready to be kept."""

    name: str
    content: bytes
    media: str
    width: int
    height: int


def taken(upload: UploadFile, *, photo: bool) -> Taken:
    """Read an uploaded file.

    Parameters
    ----------
    upload : UploadFile
    photo : bool
        Scaled to 1600 points along its longer side; a scan keeps 2600.

    Raises
    ------
    InputError
        When it is too large, or neither a picture nor a PDF.
    """
    name = PurePath(upload.filename or "").name[-200:]
    content = upload.file.read(FILE_BYTES + 1)
    if len(content) > FILE_BYTES:
        raise InputError(
            f"'{name}' is larger than {FILE_BYTES // 1_000_000} MB", "a smaller file is needed",
            "scale it down first",
        )  # fmt: skip
    if content[:5] == b"%PDF-":
        if photo or b"%%EOF" not in content[-2048:]:
            raise InputError(
                f"'{name}' is {'a PDF' if photo else 'half a PDF'}",
                "a picture is needed for a photo" if photo else "all of it is needed",
            )
        return Taken(name, content, "application/pdf", 0, 0)
    return _picture(name, content, PHOTO_SIDE if photo else PAPER_SIDE)


def _picture(name: str, content: bytes, side: int) -> Taken:
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=PICTURES) as found:
                if found.width * found.height > MOST_POINTS:
                    raise InputError(
                        f"'{name}' is {found.width} by {found.height} points large",
                        f"at most {MOST_POINTS // 1_000_000} million points are taken",
                        "scale it down first",
                    )
                found.draft("RGB", (2 * side, 2 * side))
                turned = ImageOps.exif_transpose(found)
                plain = _flat(turned)
    except InputError:
        raise
    except Exception:  # whatever a decoder says of bytes that are no picture
        raise InputError(
            f"'{name}' could not be read as a picture", "JPEG, PNG, WebP or TIFF is needed",
            "save it as JPEG",
        ) from None  # fmt: skip
    plain.thumbnail((side, side), Image.Resampling.LANCZOS)
    written = io.BytesIO()
    plain.save(written, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return Taken(name, written.getvalue(), "image/jpeg", plain.width, plain.height)


def _flat(found: Image.Image) -> Image.Image:
    """Return a picture in plain colours; what was transparent stands on white."""
    from PIL import Image

    if "A" in found.getbands() or "transparency" in found.info:
        white = Image.new("RGBA", found.size, "white")
        return Image.alpha_composite(white, found.convert("RGBA")).convert("RGB")
    return found.convert("RGB")
