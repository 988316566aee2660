"""Photographs of the QR codes that a phone shows: the tables in them, as if they had come as files."""

from __future__ import annotations

import io
import warnings
import zlib

from PIL import Image

from stressmap.core.errors import DataError, Problem
from stressmap.core.sources import InputSource

MARK = b"stressmap1"
"""How the content of a code begins; a letter for its table follows."""
PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n", b"RIFF")
"""How photographs begin: JPEG, PNG, WebP."""
MOST_PIXELS = 80_000_000
MOST_TABLE = 1_000_000
"""Bytes of a table; a code holds some dozen rows."""
WIDE = 2000
"""Large photographs are looked at once more at about this width, where fine grain is gone."""


def is_picture(head: bytes) -> bool:
    """Tell whether a file is a photograph.

    Parameters
    ----------
    head : bytes
        Its beginning.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_picture(b"reading_id,version"), is_picture(b"RIFF....WEBPVP8 ")
    (False, True)
    """
    return head.startswith(PICTURES) and (not head.startswith(b"RIFF") or head[8:12] == b"WEBP")


def tables_in(source: InputSource) -> tuple[InputSource, ...]:
    """Read the tables that the codes on a photograph hold.

    Parameters
    ----------
    source : InputSource
        The photograph.

    Returns
    -------
    tuple of InputSource
        A CSV table for each code, named after the photograph.

    Raises
    ------
    DataError
        If it is no picture that can be read, too large, or shows no code of the field form.
    """
    import zxingcpp  # only who hands in photographs waits for it

    picture = _grey(source)
    found: dict[bytes, None] = {}
    for looked_at in (picture, _smaller(picture)):
        for code in zxingcpp.read_barcodes(looked_at):
            table = _table(bytes(code.bytes))
            if table is not None:
                found[table] = None
        if found:
            break
    if not found:
        what = "no code of the field form can be read in the picture"
        remedy = "Photograph it straight on, sharp and filling the picture, or hand over another way"
        raise DataError(Problem(source.name, what, remedy))
    names = (f"{source.name}:{number}" for number in range(1, len(found) + 1))
    return tuple(InputSource.of_bytes(table, name) for table, name in zip(found, names, strict=True))


def _grey(source: InputSource) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(source.filled()), formats=("JPEG", "PNG", "WEBP")) as opened:
                large = opened.width * opened.height > MOST_PIXELS
                picture = None if large else opened.convert("L")
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        picture = None
    except (OSError, SyntaxError, ValueError):
        what = "it is a picture that cannot be read"
        raise DataError(Problem(source.name, what, "Photograph the code again")) from None
    if picture is None:
        what = f"the picture has over {MOST_PIXELS / 1e6:.0f} million pixels"
        raise DataError(Problem(source.name, what, "Make it smaller"))
    return picture


def _smaller(picture: Image.Image) -> Image.Image:
    if picture.width <= WIDE:
        return picture.resize((2 * picture.width, 2 * picture.height), Image.Resampling.BICUBIC)
    return picture.resize((WIDE, round(picture.height * WIDE / picture.width)), Image.Resampling.LANCZOS)


def _table(content: bytes) -> bytes | None:
    """Unpack the table of a code, None if it is a code of something else."""
    if not content.startswith(MARK) or content[len(MARK) : len(MARK) + 1] not in {b"r", b"v"}:
        return None
    try:
        unpacked = zlib.decompressobj(-zlib.MAX_WBITS).decompress(content[len(MARK) + 1 :], MOST_TABLE)
    except zlib.error:
        return None
    return unpacked if unpacked.count(b"\n") > 1 else None
