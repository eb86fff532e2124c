"""SHA-256, without the time that loading the whole of a cryptographic library takes.

The same digest as `hashlib.sha256`, from the interpreter's own module where there is one; the
standard library's `random` takes its hash function in the same way, for the same reason.
"""

from __future__ import annotations

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from hashlib import sha256
else:
    try:
        from _sha2 import sha256
    except ImportError:
        try:
            from _sha256 import sha256
        except ImportError:
            from hashlib import sha256


PIECE = 1024 * 1024
"""Bytes of a file that are read at a time."""


def digest_of(data: bytes) -> str:
    """The SHA-256 of bytes, in hexadecimal."""
    return sha256(data).hexdigest()


def digest_of_file(path: str) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal, without holding them all in memory."""
    digest = sha256()
    with open(path, "rb") as file:
        while piece := file.read(PIECE):
            digest.update(piece)
    return digest.hexdigest()
