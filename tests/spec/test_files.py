"""Which files are read, and how: caps, names, encodings."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from tolsim.errors import SpecError
from tolsim.spec.files import (
    MAX_TOML_BYTES,
    decode,
    inside,
    is_dir,
    is_file,
    read_capped,
    safe_name,
    shown_path,
    specs_root,
)


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("bores/north", None),
        ("north 2026.csv", None),
        ("http://example.org/x", "only files on this disk are read"),
        ("file:///etc/passwd", "only files on this disk are read"),
        ("\\\\server\\share\\x", "only files on this disk are read"),
        ("/etc/passwd", "absolute paths are not followed"),
        ("C:\\x", "absolute paths are not followed"),
        ("c:x", "absolute paths are not followed"),
        ("../x", "names may not climb out of their folder"),
        ("a/../../x", "names may not climb out of their folder"),
        ("a\\..\\..\\x", "names may not climb out of their folder"),
        ("a\x00b", "control characters cannot stand in a name"),
        ("a\x1b[2Jb", "control characters cannot stand in a name"),
    ],
)
def test_names(name: str, reason: str | None) -> None:
    """Names that lead out of the folder, or off the disk, are refused with the reason."""
    assert safe_name(name) == reason


def test_text_and_digest(tmp_path: Path) -> None:
    """The digest is that of the bytes on disk; line ends and a byte-order mark are taken off."""
    data = b"\xef\xbb\xbfa = 1\r\nb = 2\r\n"
    path = tmp_path / "a.toml"
    path.write_bytes(data)
    text, digest = read_capped(path, "a.toml")
    assert text == "a = 1\nb = 2\n"
    assert digest == hashlib.sha256(data).hexdigest()


def _refused(data: bytes) -> tuple[int | None, str]:
    with pytest.raises(SpecError) as caught:
        decode(data, "a.toml")
    (problem,) = caught.value.problems
    return problem.line, problem.message


def test_caps() -> None:
    """At the cap a file is read, one byte or one character beyond it is not."""
    row = b"#" * 1023 + b"\n"
    assert decode(row * (MAX_TOML_BYTES // 1024), "a.toml")
    assert _refused(row * (MAX_TOML_BYTES // 1024) + b"#") == (None, "is too large")
    assert decode(b"#" * 4096 + b"\n", "a.toml")
    assert _refused(b"\n\n" + b"#" * 4097) == (3, "line is too long")
    # characters that some programs take for a new line do not start one
    assert _refused("\u2028#".encode() * 2100) == (1, "line is too long")


def test_encodings() -> None:
    """Other encodings are told, with the line of the first byte that does not fit."""
    assert _refused(b"a = 1\n# caf\xe9\n") == (2, "is not UTF-8 text")
    assert _refused("a = 1\n".encode("utf-16"))[1] == "is not UTF-8 text"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="not a POSIX system")
def test_what_is_no_file(tmp_path: Path) -> None:
    """Folders, pipes and devices are refused at once, without waiting for a writer."""
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    for path in (tmp_path, pipe, Path("/dev/zero")):
        with pytest.raises(SpecError, match=r"is not a regular file|cannot be read"):
            read_capped(path, "x")
    with pytest.raises(SpecError, match="cannot be read: No such file"):
        read_capped(tmp_path / "absent", "x")


def test_names_the_system_cannot_take(tmp_path: Path) -> None:
    """A name longer than a file system allows is no file, and no error either."""
    assert not is_file(tmp_path / ("x" * 5000))
    assert not is_dir(tmp_path / ("x" * 5000))
    with pytest.raises(SpecError, match="cannot be read"):
        read_capped(tmp_path / ("x" * 5000), "x")


def test_inside_follows_links(tmp_path: Path) -> None:
    """A link counts where it leads to."""
    (tmp_path / "in").mkdir()
    (tmp_path / "out.toml").write_text("")
    (tmp_path / "in" / "link.toml").symlink_to(tmp_path / "out.toml")
    (tmp_path / "in" / "own.toml").write_text("")
    assert inside(tmp_path / "in" / "own.toml", tmp_path / "in")
    assert not inside(tmp_path / "in" / "link.toml", tmp_path / "in")
    assert not inside(tmp_path / "in" / ".." / "out.toml", tmp_path / "in")


def test_shown_paths(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Messages show a path from the working folder, from specs, or its last two names."""
    (tmp_path / "sub").mkdir()
    monkeypatch.chdir(tmp_path)
    assert shown_path(tmp_path / "sub" / "a.toml") == "sub/a.toml"
    assert shown_path(specs_root() / "bores" / "x.toml") == "specs/bores/x.toml"
    monkeypatch.chdir(tmp_path / "sub")
    assert shown_path(tmp_path / "other" / "a.toml") == "other/a.toml"
