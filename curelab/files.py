"""The one place where files are written: whole or not at all, and never over what somebody else put there; and where they are read.

What is written goes beside its place first, is brought to the disk, and is then put there in one step, so that a crash, a full disk or a
pulled plug leaves the old file or the new one, never half of one.
"""

from __future__ import annotations

import contextlib
import errno
import glob
import os
import secrets
import select
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path

from .fields import InputError, Problem, refuse

PAUSE = 10.0  # s without a byte, after which nobody writes into a pipe
PART = ".curelab-part"  # the end of the name of what is not in its place yet
_NO_LINKS = {
    errno.EPERM,
    errno.ENOTSUP,
    errno.EOPNOTSUPP,
    errno.ENOSYS,
    errno.EMLINK,
}  # of a disk that knows no second names


def content(path: str | Path, most: int) -> bytes:
    """What a file holds, at most so many bytes of it: a device never ends. Raises OSError, for a pipe too that stays empty for PAUSE."""
    with open(path, "rb", buffering=0, opener=_at_once) as file:
        handle, found = file.fileno(), bytearray()
        kind = os.fstat(handle).st_mode
        waits = not (stat.S_ISREG(kind) or stat.S_ISDIR(kind) or file.isatty())  # a person may take longer to type
        if hasattr(os, "O_NONBLOCK"):
            os.set_blocking(handle, True)
        else:  # where files are opened as they are, only sockets can be waited for
            waits = False
        while len(found) < most:
            if waits and not select.select([handle], [], [], PAUSE)[0]:
                raise OSError(errno.ETIMEDOUT, f"nothing comes from it in {PAUSE:.0f} s")
            if not (more := file.read(min(most - len(found), 1 << 20))):
                break
            found += more
        return bytes(found)


def _at_once(path: str, flags: int) -> int:
    """Opens without waiting for who writes into a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def called(path: Path) -> str:
    """The name of a file in a sentence; "/" and "." have none."""
    return path.name or str(path)


class Changed(InputError):
    """Somebody else has written the file since it was read; nothing was changed."""


def write(path: str | Path, content: str | bytes, *, overwrite: bool = False) -> None:
    """Write one file: a new one, or, with `overwrite`, in the place of the one that is there.

    Raises InputError as `write_new` and `replace` do.
    """
    path = Path(path)
    if overwrite and os.path.lexists(path):
        replace(path, content)
    else:
        write_new({path: content})


def write_new(contents: Mapping[Path, str | bytes], *, folders: bool = False) -> None:
    """Write files where none are yet, all of them or none; with `folders`, their folders too where they are missing.

    Raises InputError, with a sentence for each file that is there already or the first that cannot be written.
    """
    there = [Problem(called(path), _THERE) for path in contents if os.path.lexists(path)]
    if there:
        raise InputError(there)
    made: list[Path] = []  # to be taken away again if it cannot be finished, the last first
    beside: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in contents.items():
            for folder in reversed((path.parent, *path.parent.parents)) if folders else ():
                if not os.path.exists(folder):
                    folder.mkdir()
                    made.append(folder)
            beside[path] = _beside(path, content)
        for path, part in beside.items():
            _put(part, path)
            made.append(path)
        for folder in {path.parent for path in contents}:
            _sync(folder)
        made.clear()
    except FileExistsError:
        raise InputError([Problem(called(path), _THERE)]) from None
    except OSError as error:
        raise _refused(path, error) from None
    finally:
        for part in beside.values():
            part.unlink(missing_ok=True)
        for each in reversed(made):
            with contextlib.suppress(OSError):
                each.rmdir() if os.path.isdir(each) else each.unlink()


def refuse_folder(where: str, folder: Path, names: Iterable[str]) -> None:
    """Before the work: whether new files of these names can go into a folder, which may be missing. `where`: what the folder is called there.

    Raises InputError where it is a file, cannot be written, or holds one of them already.
    """
    there = next((each for each in (folder, *folder.parents) if os.path.lexists(each)), folder)
    if os.path.lexists(there) and not os.path.isdir(there):
        raise refuse(where, f'"{there}" is a file; name a folder')
    if not os.access(there, os.W_OK | os.X_OK):
        raise refuse(where, f'"{folder}" cannot be written; name another folder')
    if taken := [name for name in names if os.path.lexists(folder / name)]:
        raise InputError(
            [Problem(name, "is there already and was left as it was; name another folder") for name in taken]
        )


def replace(path: str | Path, content: str | bytes, *, was: bytes | None = None) -> None:
    """Put the whole content in the place of the file that is there. A link stays a link; owner and rights stay.

    Parameters: `was`, what the file held when it was read. Raises Changed if it holds something else by now. Raises InputError for a file
    that may only be read, that has a second name (a hard link, which would be left behind), whose owner cannot be kept, or that cannot be
    written; nothing is changed then.
    """
    path = Path(os.path.realpath(path))
    part = None
    try:
        before = path.stat()
        if not stat.S_ISREG(before.st_mode):
            raise InputError([Problem(called(path), "is no file, and was left as it was; choose another name")])
        if not before.st_mode & 0o222 or not os.access(path, os.W_OK):
            raise InputError(
                [Problem(called(path), "may only be read, and was left as it was; allow writing, or copy it")]
            )
        if before.st_nlink > 1:
            raise InputError(
                [Problem(called(path), "has a second name (a hard link), which would be left behind; copy it first")]
            )
        part = _beside(path, content)
        _keep_owner_and_rights(part, path, before)
        if was is not None and path.read_bytes() != was:
            raise Changed(
                [Problem(called(path), "was saved by another program meanwhile, and was left as that did; try again")]
            )
        os.replace(part, path)
        part = None
        _sync(path.parent)
    except OSError as error:
        raise _refused(path, error) from None
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def stamp(path: str | Path) -> tuple[int, int, int] | None:
    """What tells that a file is the one it was; None where there is none."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def sweep(path: Path) -> None:
    """Take away what a writer of this file left when it was killed. Only for who knows that nobody else is writing it."""
    for part in path.parent.glob(f".{glob.escape(path.name)}.*{PART}"):
        part.unlink(missing_ok=True)


_THERE = "is there already and was left as it was; choose another name"


def _refused(path: Path, error: OSError) -> InputError:
    return InputError([Problem(called(path), f"cannot be written: {error.strerror}; nothing was changed")])


def _beside(path: Path, content: str | bytes) -> Path:
    """The content in a new file of the same folder, safe on the disk."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART}")
    handle = os.open(
        part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666
    )  # less what the user's mask takes
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part


def _put(part: Path, path: Path) -> None:
    """Give the part its name, unless somebody else took it meanwhile."""
    try:
        os.link(part, path)  # unlike a rename, refuses if someone was faster
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        if os.path.lexists(path):
            raise FileExistsError from None
        os.rename(part, path)


def _keep_owner_and_rights(part: Path, path: Path, before: os.stat_result) -> None:
    mine = part.stat()
    if (mine.st_uid, mine.st_gid) != (before.st_uid, before.st_gid):
        try:
            os.chown(part, before.st_uid, before.st_gid)
        except PermissionError:
            raise InputError(
                [Problem(called(path), "belongs to somebody else, and would become yours; copy it first")]
            ) from None
    os.chmod(part, stat.S_IMODE(before.st_mode))


def _sync(folder: Path) -> None:
    """Make the new name itself last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
