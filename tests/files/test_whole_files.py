"""After any failure, at any moment, the complete old or the complete new output is there."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from geo.errors import OutputError
from geo.files import whole_files
from geo.files.whole_files import recover, whole_folder, write_whole

FILES = ("plan.gpkg", "plan.gpx", "sub/map.html")


def fill(folder: Path, generation: int) -> None:
    """Three files and a marker that all carry one generation number."""
    (folder / "sub").mkdir()
    for name in FILES:
        (folder / name).write_text(f"{generation}\n" * 2000)
    write_whole(
        folder / "plan.json", json.dumps({"schema": "leadsman.plan/1", "generation": generation}).encode()
    )


def generation_of(folder: Path) -> int:
    """The one generation that every file of a complete output carries."""
    marker = json.loads((folder / "plan.json").read_text())
    generation = int(marker["generation"])
    for name in FILES:
        assert (folder / name).read_text() == f"{generation}\n" * 2000
    found = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}
    assert found == {*FILES, "plan.json"}
    return generation


def make(target: Path, generation: int) -> None:
    with whole_folder(target, overwrite=True) as staging:
        fill(staging, generation)


@pytest.fixture(params=["exchange", "two renames"])
def switch(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """Both ways of switching; the second is that of a system without an exchange."""
    if request.param == "two renames":
        monkeypatch.setattr(whole_files, "_exchange", lambda _one, _other: False)
    else:
        (tmp_path / "a").mkdir()
        (tmp_path / "b").mkdir()
        if not whole_files._exchange(tmp_path / "a", tmp_path / "b"):
            pytest.skip("this file system cannot exchange two names")
        (tmp_path / "a").rmdir()
        (tmp_path / "b").rmdir()
    return str(request.param)


# ---- the plain cases


def test_new_folder_appears_with_its_parents_and_nothing_beside(tmp_path: Path) -> None:
    make(tmp_path / "season" / "spring", 1)
    assert generation_of(tmp_path / "season" / "spring") == 1
    assert [p.name for p in (tmp_path / "season").iterdir()] == ["spring"]


def test_nothing_is_at_the_target_while_the_block_runs(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "out", overwrite=False) as staging:
        fill(staging, 1)
        assert not (tmp_path / "out").exists()
        assert staging.parent == tmp_path
    assert not staging.exists()


def test_output_of_ours_is_exchanged_with_overwrite_only(tmp_path: Path, switch: str) -> None:
    out = tmp_path / "out"
    make(out, 1)
    with pytest.raises(OutputError, match="earlier run is here; add --overwrite"):  # noqa: SIM117 (two claims)
        with whole_folder(out, overwrite=False):
            pytest.fail("the work must not start")
    assert generation_of(out) == 1
    make(out, 2)
    assert generation_of(out) == 2
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize(
    "marker",
    [
        None,
        "",
        "not json",
        "[]",
        "null",
        '{"schema": 1}',
        '{"schema": "other.plan/1"}',
        "[" * 100_000,
        '{"name": "leadsman.plan/1"}',
    ],
)
def test_folder_of_something_else_is_never_replaced(tmp_path: Path, marker: str | None) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "diary.txt").write_text("kept")
    if marker is not None:
        (out / "plan.json").write_text(marker)
    with pytest.raises(OutputError, match=r"never replaced; choose another folder"):
        make(out, 1)
    assert (out / "diary.txt").read_text() == "kept"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_folder_that_becomes_something_else_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"

    def write_while_another_appears() -> None:
        with whole_folder(out, overwrite=True) as staging:
            fill(staging, 1)
            out.mkdir()
            (out / "diary.txt").write_text("kept")

    with pytest.raises(OutputError, match="never replaced"):
        write_while_another_appears()
    assert (out / "diary.txt").read_text() == "kept"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_empty_folder_is_filled(tmp_path: Path, switch: str) -> None:
    (tmp_path / "out").mkdir()
    with whole_folder(tmp_path / "out", overwrite=False) as staging:
        fill(staging, 1)
    assert generation_of(tmp_path / "out") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    make(tmp_path / "real", 1)
    (tmp_path / "link").symlink_to("real")
    make(tmp_path / "link", 2)
    assert (tmp_path / "link").is_symlink()
    assert generation_of(tmp_path / "real") == 2


def test_name_at_the_limit_of_the_file_system_works(tmp_path: Path) -> None:
    make(tmp_path / ("n" * 255), 1)
    assert generation_of(tmp_path / ("n" * 255)) == 1


def test_names_with_pattern_characters_work(tmp_path: Path) -> None:
    make(tmp_path / "[out]*?", 1)
    make(tmp_path / "[out]*?", 2)
    assert generation_of(tmp_path / "[out]*?") == 2


def test_folder_one_stands_in_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here" / "below").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "here" / "below")
    for there in (".", ".."):
        with pytest.raises(OutputError, match="where you stand"):
            make(Path(there), 1)


@pytest.mark.parametrize("make_it", [make, lambda p, _n: write_whole(p, b"x")], ids=["folder", "file"])
def test_path_through_a_file_is_one_clear_message(
    tmp_path: Path, make_it: Callable[[Path, int], None]
) -> None:
    (tmp_path / "file").write_text("kept")
    with pytest.raises(OutputError, match="cannot be written"):
        make_it(tmp_path / "file" / "out", 1)
    with pytest.raises(OutputError, match="cannot be written"):
        make_it(tmp_path / "file" / "deeper" / "out", 1)
    assert (tmp_path / "file").read_text() == "kept"


def test_unusable_names_are_one_clear_message(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    for name in ("nul\0byte", "n" * 256, "loop"):
        with pytest.raises(OutputError):
            make(tmp_path / name, 1)
    for name in ("nul\0byte", "n" * 256, "loop/below"):
        with pytest.raises(OutputError):
            write_whole(tmp_path / name, b"x")


def test_file_in_the_way_is_kept(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("kept")
    with pytest.raises(OutputError, match="in the way"):
        make(tmp_path / "out", 1)
    assert (tmp_path / "out").read_text() == "kept"


def test_file_is_replaced_whole_and_folder_in_the_way_is_kept(tmp_path: Path) -> None:
    write_whole(tmp_path / "new" / "a.gpx", b"one")
    write_whole(tmp_path / "new" / "a.gpx", b"two")
    assert (tmp_path / "new" / "a.gpx").read_bytes() == b"two"
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputError, match="cannot be written"):
        write_whole(tmp_path / "folder", b"x")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder", "new"]


# ---- faults in the block


@pytest.mark.parametrize("fault", [KeyboardInterrupt, SystemExit, ValueError, MemoryError])
@pytest.mark.parametrize("earlier", [True, False])
def test_failure_or_interruption_of_the_work_leaves_the_target_as_it_was(
    tmp_path: Path, fault: type[BaseException], earlier: bool
) -> None:
    out = tmp_path / "parent" / "out"
    if earlier:
        make(out, 1)

    def fail_half_way() -> None:
        with whole_folder(out, overwrite=True) as staging:
            fill(staging, 2)
            raise fault

    with pytest.raises(fault):
        fail_half_way()
    if earlier:
        assert generation_of(out) == 1
        assert [p.name for p in out.parent.iterdir()] == ["out"]
    else:
        assert list(tmp_path.iterdir()) == []  # the parent we made is gone too


def test_full_disk_is_an_output_error_and_a_missing_input_is_not(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, 1)
    with pytest.raises(OutputError, match="make room"), whole_folder(out, overwrite=True):
        raise OSError(errno.ENOSPC, "No space left on device")
    with pytest.raises(FileNotFoundError) as caught, whole_folder(out, overwrite=True):
        (tmp_path / "input.tif").read_bytes()
    assert not isinstance(caught.value, OutputError)
    assert generation_of(out) == 1


def test_file_size_limit_of_the_system_leaves_the_old_output(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, 1)
    write_whole(tmp_path / "one.gpx", b"old")
    code = """
import resource, sys
from pathlib import Path
from geo.errors import OutputError
from geo.files.whole_files import whole_folder, write_whole
resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))
big = bytes(20_000)
for write in (lambda p: write_whole(p / "big", big), lambda p: (p / "big").write_bytes(big)):
    try:
        with whole_folder(Path(sys.argv[1]) / "out", overwrite=True) as staging:
            write(staging)
    except OutputError as e:
        print(e)
try:
    write_whole(Path(sys.argv[1]) / "one.gpx", bytes(20_000))
except OutputError as e:
    print(e)
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.count("make room") == 3
    assert generation_of(out) == 1
    assert (tmp_path / "one.gpx").read_bytes() == b"old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.gpx", "out"]


# ---- every call of the system fails once


def break_call(
    monkeypatch: pytest.MonkeyPatch, call: str, nth: int, fault: BaseException | None, *, after: bool = False
) -> list[int]:
    """Make the nth call of `os.<call>` (or of our exchange) fail, before or after it took effect."""
    home: Any = whole_files if call == "_exchange" else os
    real = getattr(home, call)
    count = [0]

    def names(args: tuple[Any, ...]) -> list[str]:  # as the system's own errors carry them
        return [str(a) for a in args[:1] if isinstance(a, (str, Path))]

    def broken(*args: Any, **kwargs: Any) -> Any:
        count[0] += 1
        if count[0] == nth and not after:
            raise fault or OSError(errno.EIO, "broken on purpose", *names(args))
        result = real(*args, **kwargs)
        if count[0] == nth:
            raise fault or OSError(errno.EIO, "broken on purpose", *names(args))
        return result

    monkeypatch.setattr(home, call, broken)
    return count


CALLS = ("rename", "fsync", "open", "write", "mkdir", "_exchange")


def nth_faults(tmp_path: Path, call: str, run: Callable[[int], int]) -> int:
    """Run with the 1st, 2nd, ... call broken until a run needs fewer calls; how many were broken."""
    for nth in range(1, 200):
        if run(nth) < nth:
            return nth - 1
    pytest.fail("no end")


@pytest.mark.parametrize("call", CALLS)
def test_every_nth_call_that_fails_leaves_the_old_folder_and_no_litter(
    tmp_path: Path, switch: str, call: str
) -> None:
    out = tmp_path / "out"

    def run(nth: int) -> int:
        make(out, 1)
        with pytest.MonkeyPatch.context() as broken:
            count = break_call(broken, call, nth, None)
            said = ""
            try:
                make(out, 2)
            except OutputError as e:
                said = str(e)
            # no error: not reached, or a deletion that the result does not hang on
            assert generation_of(out) == (1 if said else 2)
            assert not said or "broken on purpose" in said
        recover(out)
        assert [p.name for p in tmp_path.iterdir()] == ["out"]
        return count[0]

    broken_calls = nth_faults(tmp_path, call, run)
    # rename: marker file in staging 1, and 3 of the switch without exchange; fsync: 4 files, 2 folders,
    # the marker's own file and folder, the parent
    least = {"rename": 1 if switch == "exchange" else 4, "fsync": 9, "open": 9, "write": 1, "mkdir": 2}
    assert broken_calls >= least.get(call, 1)


@pytest.mark.parametrize("call", ["fsync", "rename", "_exchange", "open"])
@pytest.mark.parametrize("after", [False, True])
def test_interruption_at_every_nth_call_leaves_one_complete_folder(
    tmp_path: Path, switch: str, call: str, after: bool
) -> None:
    out = tmp_path / "out"

    def run(nth: int) -> int:
        make(out, 1)
        with pytest.MonkeyPatch.context() as broken:
            count = break_call(broken, call, nth, KeyboardInterrupt(), after=after)
            with contextlib.suppress(KeyboardInterrupt):
                make(out, 2)
        assert generation_of(out) in (1, 2)  # before any recovery
        recover(out)
        assert [p.name for p in tmp_path.iterdir()] == ["out"]
        return count[0]

    assert nth_faults(tmp_path, call, run) >= 1


@pytest.mark.parametrize("call", ["rename", "fsync", "open", "write"])
def test_every_nth_call_that_fails_leaves_a_whole_file(tmp_path: Path, call: str) -> None:
    file = tmp_path / "plan.gpx"

    def run(nth: int) -> int:
        write_whole(file, b"old" * 1000)
        with pytest.MonkeyPatch.context() as broken:
            count = break_call(broken, call, nth, None)
            with contextlib.suppress(OutputError):
                write_whole(file, b"new" * 1000)
                assert file.read_bytes() == b"new" * 1000
        assert file.read_bytes() in (b"old" * 1000, b"new" * 1000)
        assert [p.name for p in tmp_path.iterdir()] == ["plan.gpx"]
        return count[0]

    assert nth_faults(tmp_path, call, run) >= 1


def test_write_that_takes_a_part_at_a_time_ends_complete(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, data[:7]))
    write_whole(tmp_path / "a", bytes(range(256)))
    monkeypatch.undo()
    assert (tmp_path / "a").read_bytes() == bytes(range(256))


# ---- killed

CHILD = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[4])
from geo.files import whole_files
from tests.files.test_whole_files import make
out, mode, at = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
if mode == "two renames":
    whole_files._exchange = lambda one, other: False
count = 0
def deadly(home, name):
    real = getattr(home, name)
    def call(*args, **kwargs):
        global count
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)
    setattr(home, name, call)
if at:
    for name in ("rename", "fsync", "open", "mkdir", "rmdir", "unlink", "close"):
        deadly(os, name)
    deadly(whole_files, "_exchange")
generation = 2
print("ready", flush=True)
while True:
    make(out, generation)
    print(generation, flush=True)
    generation += 1
    if at:
        break
"""
HOME = str(Path(__file__).parents[2])


def start(out: Path, switch: str, at: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(out), switch, str(at), HOME], stdout=subprocess.PIPE
    )


@contextlib.contextmanager
def running(out: Path, switch: str, at: int) -> Iterator[subprocess.Popen[bytes]]:
    with start(out, switch, at) as child:
        try:
            yield child
        finally:
            child.kill()


def test_kill_at_random_moments_leaves_one_complete_output(tmp_path: Path, switch: str) -> None:
    out = tmp_path / "out"
    rng = random.Random(20)
    make(out, 1)
    last = 1
    for kill in range(12):  # twice, by the two ways to switch: 24 kills
        with running(out, switch, 0) as child:
            assert child.stdout is not None
            for _ in range(1 + kill % 2):  # ready; every other time one output is made first
                child.stdout.readline()
            time.sleep(rng.uniform(0.0, 0.08))
            child.send_signal(signal.SIGKILL)
        if switch == "exchange":
            generation_of(out)  # without any recovery
        recover(out)
        last = max(last, generation_of(out))
        assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert last > 1  # some did get to switch


def test_kill_before_each_call_of_the_system_leaves_one_complete_output(tmp_path: Path, switch: str) -> None:
    out = tmp_path / "out"
    seen = set()
    killed = 0
    for at in range(1, 400, 3 if switch == "exchange" else 1):
        if killed % 10 == 0 or generation_of(out) != 1:
            make(out, 1)
        with running(out, switch, at) as child:
            code = child.wait()
        if code == 0:
            break
        assert code == -signal.SIGKILL
        killed += 1
        if switch == "exchange":
            generation_of(out)  # without any recovery
        seen.add(out.exists())
        recover(out)
        assert generation_of(out) in (1, 2)
        assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert killed > 10
    # the two renames do have their moment without a folder, which recovery mended; the exchange has none
    assert seen == ({True} if switch == "exchange" else {True, False})


def test_next_start_mends_without_being_asked(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, 1)
    out.rename(whole_files._hidden_name(out, "old"))  # as killed between two renames
    stale = whole_files._hidden_name(out, "new")
    stale.mkdir()
    (stale / "half").write_text("x")
    with pytest.raises(OutputError, match="--overwrite"), whole_folder(out, overwrite=False):
        pytest.fail("the earlier output is back, so the work must not start")
    assert generation_of(out) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_earlier_output_set_aside_is_kept_when_its_place_was_taken_by_another_folder(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, 1)
    aside = whole_files._hidden_name(out, "old")
    out.rename(aside)
    out.mkdir()
    (out / "diary.txt").write_text("kept")
    recover(out)
    assert generation_of(aside) == 1
    assert (out / "diary.txt").read_text() == "kept"


def test_work_of_a_running_process_is_not_swept(tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = f"""
import sys
sys.path.insert(0, {HOME!r})
from geo.files.whole_files import whole_folder
from tests.files.test_whole_files import fill
with whole_folder(sys.argv[1], overwrite=True) as staging:
    print(staging, flush=True)
    sys.stdin.readline()
    fill(staging, 7)
"""
    with subprocess.Popen(
        [sys.executable, "-c", code, str(out)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        staging = Path(child.stdout.readline().strip())
        recover(out)
        assert staging.is_dir()
        make(out, 3)  # another run of the same folder meanwhile
        assert generation_of(out) == 3
        assert staging.is_dir()
        child.communicate("go\n")
    assert child.returncode == 0
    assert generation_of(out) == 7
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_folder_that_another_run_is_switching_is_one_clear_message(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, 1)
    with contextlib.ExitStack() as stack:
        whole_files._hold(out, stack)
        with pytest.raises(OutputError, match="another run is writing here"):
            make(out, 2)
    assert generation_of(out) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_file_system_without_locks_still_writes_and_recovers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_locks(*_: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(whole_files.fcntl, "flock", no_locks)
    out = tmp_path / "out"
    make(out, 1)
    make(out, 2)
    aside = whole_files._hidden_name(out, "old")
    out.rename(aside)
    recover(out)
    assert generation_of(out) == 2
