"""Which files may be read, and how: folders, names, size caps, digests."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from tolsim.errors import Problem, SpecError

__all__ = [
    "MAX_TOML_BYTES",
    "Source",
    "inside",
    "is_dir",
    "is_file",
    "read_capped",
    "safe_name",
    "shown_path",
    "specs_root",
]

MAX_TOML_BYTES = 256 * 1024
MAX_LINE = 4096


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A file that took part in an answer: its name, never its full path, and its digest."""

    name: str
    sha256: str


def specs_root() -> Path:
    """Folder of the specifications that come with tolsim, in a checkout or an installation."""
    here = Path(__file__).resolve().parent.parent
    installed = here / "_specs"
    return installed if installed.is_dir() else here.parent / "specs"


def shown_path(path: Path) -> str:
    """The path as messages print it: from the working folder where possible, else short."""
    for root, prefix in ((Path.cwd(), ""), (specs_root(), "specs/")):
        try:
            return prefix + path.resolve().relative_to(root.resolve()).as_posix()
        except (ValueError, OSError):
            continue
    return "/".join(path.parts[-2:])


def safe_name(name: str) -> str | None:
    """Why a name from a file must not be opened, or None when it may be."""
    if "://" in name or name.startswith("\\\\"):
        return "only files on this disk are read"
    pure = PurePosixPath(name.replace("\\", "/"))
    if pure.is_absolute() or (len(name) > 1 and name[1] == ":"):
        return "absolute paths are not followed"
    if ".." in pure.parts:
        return "names may not climb out of their folder"
    if any(ord(c) < 32 or 127 <= ord(c) < 160 for c in name):
        return "control characters cannot stand in a name"
    return None


def is_file(path: Path) -> bool:
    """Whether `path` is a regular file; a name that the system cannot take is none."""
    try:
        return path.is_file()
    except OSError:
        return False


def is_dir(path: Path) -> bool:
    """Whether `path` is a folder; a name that the system cannot take is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


def inside(path: Path, root: Path) -> bool:
    """Whether `path`, links followed, lies in `root`."""
    try:
        path.resolve().relative_to(root.resolve())
    except (ValueError, OSError):
        return False
    return True


def read_capped(path: Path, shown: str, limit: int = MAX_TOML_BYTES) -> tuple[str, str]:
    """Text and SHA-256 of a TOML file.

    Raises
    ------
    SpecError
        When it is no regular file, larger than `limit` bytes, no UTF-8, or has endless lines.
    """

    def refuse(message: str, allowed: str | None = None, line: int | None = None) -> SpecError:
        return SpecError([Problem(file=shown, message=message, allowed=allowed, line=line)])

    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError as e:
        raise refuse(f"cannot be read: {e.strerror or e}") from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise refuse("is not a regular file")
    with os.fdopen(handle, "rb") as f:
        data = f.read(limit + 1)
    return decode(data, shown, limit)


def decode(data: bytes, shown: str, limit: int = MAX_TOML_BYTES) -> tuple[str, str]:
    """Text and SHA-256 of the bytes of a TOML document, under the same caps as a file."""

    def refuse(message: str, allowed: str | None = None, line: int | None = None) -> SpecError:
        return SpecError([Problem(file=shown, message=message, allowed=allowed, line=line)])

    if len(data) > limit:
        raise refuse("is too large", f"at most {limit // 1024} KiB")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = data.count(b"\n", 0, e.start) + 1
        raise refuse("is not UTF-8 text", "UTF-8", line) from None
    for number, line_text in enumerate(text.split("\n"), 1):
        if len(line_text) > MAX_LINE:
            raise refuse("line is too long", f"at most {MAX_LINE} characters", number)
    return text.replace("\r\n", "\n"), hashlib.sha256(data).hexdigest()
