"""All or nothing: a file or a folder appears whole, or what was there before stays.

Everything is first written beside its place under a hidden name, made durable, and then put in place by
renaming. A lock on what is being written tells the left-overs of a dead run from the work of a living
one: the system drops the lock when its process ends, however it ends. Needs a POSIX system.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import fcntl
import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path

from geo.errors import OutputError, PlanningError

_FRESH, _ASIDE = "new", "old"  # not yet in place; on its way out (always complete under this name)


def write_whole(path: Path | str, data: bytes) -> None:
    """Write a file so that after any failure the old content or the new one is there, complete.

    Parameters
    ----------
    path : a file that is there is replaced; missing parent folders are made.
    data : the whole content.

    Raises
    ------
    OutputError : the file cannot be written, say on a full disk.
    """
    path = _real(path)
    with _plain_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        _sweep(path)
        fresh = _hidden_name(path, _FRESH)
        file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        try:
            _lock(file)
            rest = memoryview(data)
            while rest:
                rest = rest[os.write(file, rest) :]
            os.fsync(file)
            fresh.rename(path)
            _fsync(path.parent)
        finally:
            os.close(file)
            fresh.unlink(missing_ok=True)


@contextlib.contextmanager
def whole_file(path: Path | str, *, overwrite: bool) -> Iterator[Path]:
    """Yield a path to write, and put the file in place when the block ends well.

    For writers that want a path of their own; the name and suffix are those asked for.

    Parameters
    ----------
    path : where the file is to be; missing parent folders are made.
    overwrite : exchange a file that is there.

    Raises
    ------
    OutputError : a file is there and may not be exchanged, a folder is in the way, or it cannot be written.
    """
    path = _real(path)
    require_free(path, overwrite=overwrite)
    with contextlib.ExitStack() as stack:
        with _plain_errors(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            _sweep(path)
            staging = _new_staging(path, stack)
        with _plain_errors(path, inside=staging):
            yield staging / path.name
        with _plain_errors(path):
            _fsync(staging / path.name)
            require_free(path, overwrite=overwrite)
            (staging / path.name).rename(path)
            _fsync(path.parent)


def require_free(path: Path, *, overwrite: bool) -> None:
    """Refuse at once, before long work, what `whole_file` would refuse.

    Raises
    ------
    OutputError : as there.
    """
    if path.is_dir():
        raise OutputError(f"{path}: a folder of this name is in the way; choose another name")
    if os.path.lexists(path) and not overwrite:
        raise OutputError(f"{path}: is there already; add --overwrite to exchange it, or choose another name")
    for end in ("-wal", "-journal"):  # a GeoPackage that is open, or whose program died: it would spoil ours
        beside = path.with_name(path.name + end)
        if path.suffix.lower() == ".gpkg" and os.path.lexists(beside):
            raise OutputError(
                f"{path}: {beside.name} beside it holds changes that another program has not finished; "
                "close the file there (or open and close it once more), or choose another name"
            )


@contextlib.contextmanager
def whole_folder(
    target: Path | str,
    *,
    overwrite: bool,
    marker: str = "plan.json",
    schema_prefix: str = "leadsman.plan/",
) -> Iterator[Path]:
    """Yield an empty folder to fill, and put it in the place of `target` when the block ends well.

    Parameters
    ----------
    target : may be missing (its parents too) or empty. An earlier one of ours is exchanged only with
        `overwrite`, together with whatever was added to it; any other folder is never replaced.
    overwrite : exchange an earlier one of ours.
    marker : file that tells a folder of ours: JSON whose "schema" starts with `schema_prefix`.
    schema_prefix : see `marker`.

    Raises
    ------
    OutputError : the folder is in use for something else, or cannot be written.

    Notes
    -----
    When the block fails or is interrupted, `target` is left as it was. Where the system can exchange two
    names in one step there is no moment without a complete folder; elsewhere there is one between two
    renames, and the next call (or `recover`) mends a run that was killed just there.
    """
    target = _real(target)
    missing = [p for p in (target, *target.parents) if not os.path.lexists(p)]
    with contextlib.ExitStack() as stack:
        with _plain_errors(target):
            target.parent.mkdir(parents=True, exist_ok=True)
            for made in reversed(missing[1:]):  # what stayed empty goes again, innermost first
                stack.callback(_rmdir_if_empty, made)
            recover(target, marker=marker)
            _require_replaceable(target, overwrite=overwrite, marker=marker, schema_prefix=schema_prefix)
            staging = _new_staging(target, stack)
        with _plain_errors(target, inside=staging):
            yield staging
        with _plain_errors(target):
            _fsync_tree(staging)
            _require_replaceable(target, overwrite=overwrite, marker=marker, schema_prefix=schema_prefix)
            _put_in_place(staging, target, stack)


def recover(target: Path | str, *, marker: str = "plan.json") -> None:
    """Mend what a killed run left: put the earlier folder back if none is there, sweep the rest.

    What a running process is writing is left alone.
    """
    target = _real(target)
    with _plain_errors(target):
        for aside in _left_overs(target, _ASIDE):
            with _unused(aside, if_unsure=True) as unused:
                if unused and (not target.exists() or _is_empty_folder(target)):
                    aside.rename(target)
                    _fsync(target.parent)
                elif unused and (target / marker).is_file():  # it has a successor
                    aside.rename(_hidden_name(target, _FRESH))
        _sweep(target)


def require_place(
    target: Path | str,
    *,
    overwrite: bool,
    marker: str = "plan.json",
    schema_prefix: str = "leadsman.plan/",
) -> None:
    """Refuse at once, before long work, what `whole_folder` would refuse; see there.

    Raises
    ------
    OutputError : the folder is in use for something else, or holds an earlier run.
    """
    target = _real(target)
    with _plain_errors(target):
        recover(target, marker=marker)
        _require_replaceable(target, overwrite=overwrite, marker=marker, schema_prefix=schema_prefix)


def _put_in_place(staging: Path, target: Path, stack: contextlib.ExitStack) -> None:
    """Switch; until the old folder is about to be deleted, every failure leads back to it."""
    parent = os.open(target.parent, os.O_RDONLY)
    stack.callback(os.close, parent)
    if not os.path.lexists(target):
        staging.rename(target)
        try:
            os.fsync(parent)
        except BaseException:
            target.rename(staging)
            raise
        return
    _hold(target, stack)  # so that nobody takes it for a left-over while it has a hidden name
    if _exchange(staging, target):
        try:
            os.fsync(parent)
        except BaseException:
            _exchange(staging, target)
            raise
        return
    aside = _hidden_name(target, _ASIDE)
    try:
        target.rename(aside)
        staging.rename(target)
        os.fsync(parent)
        aside.rename(staging)  # under this name it may be half deleted and is never put back
    except BaseException:
        if os.path.lexists(aside):
            if os.path.lexists(target):
                target.rename(staging)
            aside.rename(target)
        raise


def _exchange(one: Path, other: Path) -> bool:
    """Swap two names in one step; False where the system or the file system cannot."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    here, swap = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux
    renameat2.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
    if renameat2(here, os.fsencode(one), here, os.fsencode(other), swap) == 0:
        return True
    code = ctypes.get_errno()
    if code in (errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP, errno.EPERM):
        return False
    raise OSError(code, os.strerror(code), str(other))


def _require_replaceable(target: Path, *, overwrite: bool, marker: str, schema_prefix: str) -> None:
    cwd = Path.cwd()
    if target == cwd or target in cwd.parents:
        # it would be taken from under the shell that stands in it
        raise OutputError(f"{target}: this is where you stand; name a folder inside it")
    if not os.path.lexists(target):
        return
    if not target.is_dir():
        raise OutputError(f"{target}: a file of this name is in the way; choose another name, or move it")
    if _is_empty_folder(target):
        return
    try:
        schema = json.loads((target / marker).read_bytes())["schema"]
        ours = schema.startswith(schema_prefix)
    except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
        ours = False
    if not ours:
        raise OutputError(
            f"{target}: this folder holds something else (no {marker} of ours) and is never replaced; "
            "choose another folder"
        )
    if not overwrite:
        raise OutputError(
            f"{target}: the output of an earlier run is here; add --overwrite to exchange it, "
            "or choose another folder"
        )


def _hidden_name(target: Path, kind: str) -> Path:
    return target.with_name(f"{_stem(target)}{secrets.token_hex(6)}.{kind}")


def _left_overs(target: Path, kind: str) -> list[Path]:
    return sorted(target.parent.glob(f"{_stem(target)}*.{kind}"))


def _stem(target: Path) -> str:
    # a digest, since a long name and our additions could pass the limit of a file name
    return f".leadsman-{hashlib.sha256(os.fsencode(target.name)).hexdigest()[:16]}-"


def _new_staging(target: Path, stack: contextlib.ExitStack) -> Path:
    while True:
        staging = _hidden_name(target, _FRESH)
        stack.callback(shutil.rmtree, staging, ignore_errors=True)
        staging.mkdir()
        with contextlib.suppress(FileNotFoundError, BlockingIOError):  # swept before it was locked
            _hold(staging, stack)
            return staging


def _hold(folder: Path, stack: contextlib.ExitStack) -> None:
    """Lock a folder until the stack unwinds."""
    handle = os.open(folder, os.O_RDONLY)
    stack.callback(os.close, handle)
    _lock(handle)
    if not os.path.samestat(os.fstat(handle), folder.stat()):
        raise BlockingIOError(errno.EWOULDBLOCK, "exchanged by another run")


def _lock(handle: int) -> bool:
    """Lock, or raise BlockingIOError; False where the file system has no such locks."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise
    except OSError:
        return False
    return True


@contextlib.contextmanager
def _unused(path: Path, *, if_unsure: bool) -> Iterator[bool]:
    """Tell whether no running process holds `path`, and hold it meanwhile."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    except FileNotFoundError:
        yield False
        return
    try:
        try:
            unused = _lock(handle) or if_unsure
        except BlockingIOError:
            unused = False
        yield unused and os.path.lexists(path)
    finally:
        os.close(handle)


def _sweep(target: Path) -> None:
    for fresh in _left_overs(target, _FRESH):
        with _unused(fresh, if_unsure=False) as unused:
            if unused and fresh.is_dir():
                shutil.rmtree(fresh, ignore_errors=True)
            elif unused:
                fresh.unlink(missing_ok=True)


def _is_empty_folder(path: Path) -> bool:
    return path.is_dir() and not any(path.iterdir())


def _rmdir_if_empty(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.rmdir()


def _fsync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _fsync_tree(folder: Path) -> None:
    for here, _, names in os.walk(folder, topdown=False):
        for name in names:
            file = Path(here, name)
            if file.is_file() and not file.is_symlink():
                _fsync(file)
        _fsync(Path(here))


def _real(path: Path | str) -> Path:
    # what a link points to is replaced, not the link
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError) as e:
        raise OutputError(f"{path!r}: not a usable path ({e}); choose another") from e


@contextlib.contextmanager
def _plain_errors(target: Path, *, inside: Path | None = None) -> Iterator[None]:
    """Turn a fault of the system into one clear message; `inside`: only faults of writing there."""
    try:
        yield
    except PlanningError:
        raise
    except BlockingIOError as e:
        if inside is not None:
            raise
        raise OutputError(f"{target}: another run is writing here; wait for it, then run again") from e
    except OSError as e:
        full = e.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        here = e.errno is not None and str(e.filename or inside).startswith(str(inside))
        if inside is not None and not full and not here:
            raise  # of reading something, not of writing here
        remedy = "make room on the disk" if full else "choose another place, or mend what is named"
        raise OutputError(f"{target}: cannot be written: {e.strerror or e}; {remedy}") from e
