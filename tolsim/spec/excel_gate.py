"""Before a workbook is opened: is it one, and can it be unpacked without harm?"""

from __future__ import annotations

import io
import zipfile

from tolsim.errors import Problem, SpecError

__all__ = ["pass_gate"]

_MAX_ENTRIES = 2_000
_MAX_UNPACKED = 200 * 1024 * 1024
_MAX_RATIO = 200
_RATIO_FROM = 1024 * 1024
_MAX_MARKS = 1_500_000
_CHUNK = 1 << 16


def pass_gate(data: bytes, shown: str) -> None:
    """Refuse a workbook that would grow beyond all measure when it is unpacked or parsed.

    At most 2000 entries, 200 MB unpacked in all, 200 : 1 for an entry above 1 MB, 1.5 million XML
    tags and as many attributes: a parser keeps some 100 bytes for each of them. Sizes are
    declared by the file itself; the entries are unpacked piece by piece to check them.

    Raises
    ------
    SpecError
        With the reason.
    """

    def refuse(message: str) -> SpecError:
        return SpecError([Problem(file=shown, message=message)])

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            if len(entries) > _MAX_ENTRIES:
                raise refuse(f"is packed from more than {_MAX_ENTRIES} entries")
            if len({e.filename for e in entries}) < len(entries):
                raise refuse("is packed with the same entry twice")
            if any(e.flag_bits & 0x1 for e in entries):
                raise refuse("is protected by a password")
            if sum(e.file_size for e in entries) > _MAX_UNPACKED:
                raise refuse(f"unpacks to more than {_MAX_UNPACKED >> 20} MB")
            for e in entries:
                if e.file_size > _RATIO_FROM and e.file_size > _MAX_RATIO * e.compress_size:
                    raise refuse(f"is packed more than {_MAX_RATIO} : 1, as no table is")
            tags = attributes = 0
            for e in entries:
                with archive.open(e) as stream:
                    while chunk := stream.read(_CHUNK):
                        tags += chunk.count(b"<")
                        attributes += chunk.count(b"=")
                        if max(tags, attributes) > _MAX_MARKS:
                            raise refuse("has more cells than are read; save the sheet as CSV")
    except SpecError:
        raise
    except Exception:  # whatever a crafted archive can provoke in its reader
        raise refuse("is damaged or no workbook; save it again as .xlsx or as CSV") from None
