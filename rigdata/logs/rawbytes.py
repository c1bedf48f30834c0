"""The bytes of a log, compressed or not, and the encoding of their text."""

from __future__ import annotations

import codecs
import gzip
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from rigdata.campaign.files import shown
from rigdata.errors import LogError
from rigdata.storage.files import opened

GZIP_MAGIC = b"\x1f\x8b"
# A log shrinks by 3 to 30; what shrinks more than this was made to fill a disk.
MOST_EXPANSION = 200
EXPANSION_FREE = 64 * 2**20

_FORMATS = {
    b"PAR1": "a Parquet file",
    b"MDF ": "an MDF file",
    b"UnFinMF": "an MDF file",
    b"TDSm": "a TDMS file",
    b"\x89HDF": "an HDF5 file",
    b"MATLAB 5.0": "a MATLAB file",
    b"PK\x03\x04": "a zip archive or a spreadsheet",
    b"\xd0\xcf\x11\xe0": "a spreadsheet",
    b"BZh": "a bzip2 archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"\xfd7zXZ": "an xz archive",
    b"(\xb5/\xfd": "a zstd archive",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
}
_ENDINGS = {"Parquet": ".parquet", "MDF": ".mf4", "TDMS": ".tdms", "HDF5": ".h5"}  # can be read
_TEXT_CONTROLS = frozenset(b"\t\n\v\f\r\x1a\x1b\x00")
_MOST_CONTROLS = 0.01
_MOST_NULS = 0.3


def pieces(path: Path, size: int) -> Iterator[bytes]:
    """Yield the bytes of a log in pieces of at most `size`, gzip undone.

    Raises
    ------
    LogError
        When the file cannot be read, or expands beyond reason.
    """
    try:
        with opened(path) as raw:
            if raw.read(2) != GZIP_MAGIC:
                raw.seek(0)
                while piece := raw.read(size):
                    yield piece
                return
        yield from _expanded(path, size)
    except OSError as error:
        reason = error.strerror or str(error)
        raise LogError(
            f"cannot be read ({reason})", where=shown(path), do="Check that the file is there"
        ) from error
    except (EOFError, zlib.error) as error:
        raise LogError(
            "the compressed file is damaged or cut short",
            where=shown(path),
            do="Copy it again, or expand it with a repair tool and name the text file",
        ) from error


def most_bytes(size: int) -> int:
    """Return how many bytes a log of `size` bytes may expand to."""
    return max(EXPANSION_FREE, MOST_EXPANSION * size)


def _expanded(path: Path, size: int) -> Iterator[bytes]:
    total = 0
    with opened(path) as raw, gzip.open(raw, "rb") as packed:
        while piece := packed.read(size):
            total += len(piece)
            if total > most_bytes(raw.tell()):  # of what was read so far: told at once
                raise LogError(
                    f"expands to more than {MOST_EXPANSION} times its size",
                    where=shown(path),
                    do="Expand it yourself and name the text file, if it really is a log",
                )
            yield piece


def head_of(path: Path, size: int) -> tuple[bytes, bool]:
    """Return the first `size` bytes, or a little more, and whether they are the whole log."""
    head = b""
    for piece in pieces(path, size + 1):
        head += piece
        if len(head) > size:
            return head, False
    return head, True


def tail_of(path: Path, size: int) -> tuple[bytes, int]:
    """Return the last `size` bytes and the number of bytes in all, gzip undone."""
    with opened(path) as raw:
        packed = raw.read(2) == GZIP_MAGIC
        if not packed:
            total = raw.seek(0, 2)
            raw.seek(max(0, total - size))
            return raw.read(), total
    tail, total = b"", 0
    for piece in pieces(path, max(size, 2**20)):
        total += len(piece)
        tail = (tail + piece)[-size:]
    return tail, total


def count_of(character: str, data: bytes) -> int:
    """Return how often an ASCII character stands in `data`; several times faster than `count`."""
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord(character)))


def text_encoding(head: bytes, *, complete: bool, stated: str | None, where: str) -> str:
    """Return the encoding of the text that starts with `head`.

    A byte order mark decides, then `stated`, then a look at the bytes: UTF-16
    without a mark by its NULs, UTF-8 when it decodes strictly, else cp1252.

    Raises
    ------
    LogError
        When the file is empty or no text.
    """
    if not head.strip(b"\x00 \t\r\n\x1a"):
        padding = " (it holds only NUL bytes or blanks)" if head else ""
        raise LogError(
            f"the log is empty{padding}", where=where, do="Copy it from the logger again"
        )
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if head.startswith(mark) and stated in (None, name, name.removesuffix("-sig")):
            return name
    if stated is not None:
        return stated
    _refuse_binary(head, where)
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > 0.6 * (len(head) // 2) and even < 0.05 * odd:
        return "utf-16-le"
    if even > 0.6 * (len(head) // 2) and odd < 0.05 * even:
        return "utf-16-be"
    if head.rstrip(b"\x00").count(0) > _MOST_NULS * len(head):
        raise _binary("binary data", where)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=complete)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def is_wide(encoding: str) -> bool:
    """Tell whether the encoding writes a digit in anything but its one ASCII byte."""
    return "0".encode(encoding.removesuffix("-sig")) != b"0"


def _refuse_binary(head: bytes, where: str) -> None:
    for magic, words in _FORMATS.items():
        if head.startswith(magic):
            raise _binary(words, where)
    controls = sum(1 for byte in head[:65536] if byte < 32 and byte not in _TEXT_CONTROLS)
    if controls > _MOST_CONTROLS * len(head[:65536]):
        raise _binary("binary data", where)


def _binary(words: str, where: str) -> LogError:
    ending = next((ending for mark, ending in _ENDINGS.items() if mark in words), "")
    return LogError(
        f"is {words}, not a text log",
        where=where,
        expected="delimited text",
        do=f"Give its name the ending {ending}" if ending else "Export it as text, such as CSV",
    )
