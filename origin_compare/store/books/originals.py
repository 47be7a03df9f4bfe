"""The files of the intakes, kept byte for byte as they were brought in."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pandas as pd
import pyarrow as pa  # type: ignore[import-untyped]
from sqlalchemy import delete, insert, select, update
from sqlalchemy.engine import Connection

from origin_compare.errors import UnknownName
from origin_compare.store.schema import INTAKE_FILES, ORIGINALS

LARGE = 2**22
_ZSTANDARD = b"\x28\xb5\x2f\xfd"
"""How a Zstandard frame begins (RFC 8878, 3.1.1); no zlib stream begins so (RFC 1950, 2.2)."""


@dataclass(frozen=True, slots=True)
class Original:
    """A file as brought in: name, SHA-256 in hex, length, and its bytes if they are at hand."""

    name: str
    sha256: str
    size: int
    content: bytes | None = None

    @classmethod
    def of(cls, name: str, content: bytes) -> Original:
        """The file of that name with these bytes."""
        return cls(name, hashlib.sha256(content).hexdigest(), len(content), content)


def keep_files(link: Connection, intake_id: int, files: Sequence[Original]) -> None:
    """Keep an intake's files, each content once however often and under what names it came."""
    known = known_files(link, {file.sha256 for file in files})
    for file in files:
        packed = None if file.content is None else _packed(file.content)
        if file.sha256 not in known:
            known.add(file.sha256)
            kept = insert(ORIGINALS).values(sha256=file.sha256, size=file.size, packed=packed)
            link.execute(kept)
        elif packed is not None:
            without = (ORIGINALS.c.sha256 == file.sha256) & ORIGINALS.c.packed.is_(None)
            link.execute(update(ORIGINALS).where(without).values(packed=packed))
        named = {"intake_id": intake_id, "file": file.name, "sha256": file.sha256}
        link.execute(insert(INTAKE_FILES).values(**named))


def known_files(link: Connection, prints: Iterable[str]) -> set[str]:
    """Those of the SHA-256 prints under which the store has a file."""
    known = select(ORIGINALS.c.sha256).where(ORIGINALS.c.sha256.in_(list(prints)))
    return set(link.execute(known).scalars())


def kept_whole(link: Connection, intake_id: int) -> tuple[str, ...]:
    """The names of an intake's files whose bytes are kept."""
    kept = (
        select(INTAKE_FILES.c.file)
        .join(ORIGINALS, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
        .where(INTAKE_FILES.c.intake_id == intake_id, ORIGINALS.c.packed.is_not(None))
    )
    return tuple(link.execute(kept).scalars())


def files_of(link: Connection, intake_id: int) -> pd.DataFrame:
    """The files of an intake: `file, sha256, bytes`."""
    found = link.execute(
        select(INTAKE_FILES.c.file, ORIGINALS.c.sha256, ORIGINALS.c.size)
        .join(ORIGINALS, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
        .where(INTAKE_FILES.c.intake_id == intake_id)
        .order_by(INTAKE_FILES.c.file)
    ).all()
    return pd.DataFrame(found, columns=["file", "sha256", "bytes"])


def original(link: Connection, intake_id: int, file: str) -> bytes:
    """A file exactly as it was brought in; `UnknownName` if not it, or only its print, is kept."""
    kept = link.execute(
        select(ORIGINALS.c.packed, ORIGINALS.c.size)
        .join(INTAKE_FILES, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
        .where(INTAKE_FILES.c.intake_id == intake_id, INTAKE_FILES.c.file == file)
    ).first()
    if kept is None:
        raise UnknownName(f"Intake {intake_id} brought no file {file}. See its list of files.")
    if kept.packed is None:
        raise UnknownName(
            f"Only the print of {file} was kept with intake {intake_id}, not the file itself."
        )
    return _unpacked(kept.packed, kept.size)


def drop_files(link: Connection, intake_id: int) -> None:
    """Forget an intake's files; bytes that no other intake brought go too."""
    link.execute(delete(INTAKE_FILES).where(INTAKE_FILES.c.intake_id == intake_id))
    link.execute(delete(ORIGINALS).where(ORIGINALS.c.sha256.not_in(select(INTAKE_FILES.c.sha256))))


def _packed(content: bytes) -> bytes:
    """A file packed; a large one by Zstandard, which takes a third of the time and less room."""
    if len(content) > LARGE:
        return bytes(pa.compress(content, codec="zstd", asbytes=True))
    return zlib.compress(content, 6)


def _unpacked(packed: bytes, size: int) -> bytes:
    """A file of `size` bytes as it was brought in."""
    if packed.startswith(_ZSTANDARD):
        return bytes(pa.decompress(packed, size, codec="zstd", asbytes=True))
    return zlib.decompress(packed)
