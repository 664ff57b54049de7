"""Damaged files by the hundred, each read in a forked worker: none may do worse than be refused in words.

For files of any kind: seeds, and a reader that takes a path. A mutant follows from its number alone, so a
fault that is found is made again by `mutant`.
"""

from __future__ import annotations

import faulthandler
import os
import random
import re
import resource
import signal
import string
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path

from geo.errors import PlanningError

Reader = Callable[[Path], object]

MEMORY_BYTES = 1_500_000_000  # over what the parent has
PROCESSOR_S = 10.0
WAITING_S = 120.0  # for a worker that sleeps for ever; generous, since others may have the processor
_BATCH = 100  # mutants to a worker: what a library leaks does not add up
_NEARLY_ALL = 0.8
_HEADER_BYTES = 2048
_EXTREMES = (
    0,
    1,
    2,
    0x7F,
    0xFF,
    0x7FFF,
    0xFFFF,
    1 << 20,
    (1 << 31) - 1,
    1 << 31,
    (1 << 32) - 1,
    1 << 40,
    1 << 62,
)
_WILD_NUMBERS = (
    "0",
    "-1",
    "1",
    "2",
    "1e999",
    "-1e38",
    "nan",
    "1e-320",
    "65536",
    "2147483648",
    "1,5",
    "0x10",
    "-",
)


# ---- what is made


def mutant(seed_bytes: bytes, number: int, *, seed: int = 0) -> tuple[bytes, str]:
    """The mutant of that number, and what was done to it in words."""
    dice = random.Random(f"{seed}/{number}")
    kinds = [*_KINDS, _number_made_wild] if _is_text(seed_bytes) else _KINDS
    data, done = seed_bytes, []
    for _ in range(dice.choice((1, 1, 1, 2, 3))):
        data, what = dice.choice(kinds)(data, dice)
        done.append(what)
    return data, ", then ".join(done)


def _is_text(data: bytes) -> bool:
    return all(chr(b) in string.printable for b in data[:512])


def _place(data: bytes, dice: random.Random) -> int:
    """Anywhere, half of the time in the header, where it hurts most."""
    return dice.randrange(max(1, min(len(data), _HEADER_BYTES) if dice.random() < 0.5 else len(data)))


def _flipped(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    changed, count = bytearray(data), dice.choice((1, 1, 2, 8, 64))
    for _ in range(count if data else 0):
        changed[_place(data, dice)] ^= dice.randrange(1, 256)
    return bytes(changed), f"{count} bytes changed"


def _overwritten(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    at, size = _place(data, dice), dice.choice((4, 16, 100, 1000))
    fill = dice.choice((b"\0", b"\xff", b" ", None))
    run = dice.randbytes(size) if fill is None else fill * size
    return data[:at] + run[: len(data) - at] + data[at + size :], f"{size} bytes from {at} overwritten"


def _truncated(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    at = _place(data, dice)
    return data[:at], f"cut off at {at} of {len(data)}"


def _extreme_integer(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    width, order = dice.choice((1, 2, 4, 4, 8)), dice.choice(("little", "little", "big"))
    at = dice.choice((_place(data, dice) // width * width, _place(data, dice)))
    value = dice.choice(_EXTREMES) % (1 << 8 * width)
    put = value.to_bytes(width, order)  # type: ignore[arg-type]
    return data[:at] + put + data[at + width :], f"{width} bytes at {at} = {value} ({order})"


def _swapped(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    size = dice.choice((4, 16, 64, 512))
    a, b = sorted((_place(data, dice), _place(data, dice)))
    b = max(b, a + size)
    moved = data[:a] + data[b : b + size] + data[a + size : b] + data[a : a + size] + data[b + size :]
    return moved, f"{size} bytes at {a} and {b} swapped"


def _doubled(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    at, size = _place(data, dice), dice.choice((1, 2, 16, 512))
    return data[: at + size] + data[at:], f"{size} bytes at {at} doubled"


def _taken_out(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    at, size = _place(data, dice), dice.choice((1, 2, 16, 512))
    return data[:at] + data[at + size :], f"{size} bytes at {at} taken out"


def _number_made_wild(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    found = list(re.finditer(rb"[-+.\w]*\d[-+.\w]*", data))
    if not found:
        return data, "nothing"
    one = dice.choice(found[:12] if dice.random() < 0.7 else found)
    wild = dice.choice(_WILD_NUMBERS)
    return data[: one.start()] + wild.encode() + data[one.end() :], f"number at {one.start()} = {wild}"


_KINDS = (
    *(_flipped, _flipped, _overwritten, _truncated, _extreme_integer, _extreme_integer),
    *(_swapped, _doubled, _taken_out),
)


# ---- what became of it


@dataclass(frozen=True)
class Fault:
    """A mutant that did worse than be refused: a traceback, a crash, a hang, memory."""

    source: str
    number: int
    done: str
    what: str

    def __str__(self) -> str:
        return f"{self.source} no. {self.number} ({self.done}): {self.what}"


@dataclass
class Findings:
    """How many mutants of each seed were "read" or "refused", and the faults."""

    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    faults: list[Fault] = field(default_factory=list)

    def __str__(self) -> str:
        counts = (f"{name}: {n} {how}" for (name, how), n in sorted(self.counts.items()))
        return "\n".join((*counts, *map(str, self.faults)))


def read_mutants(
    seeds: Sequence[Path],
    reader: Reader,
    *,
    folder: Path,
    numbers: range,
    seed: int = 0,
    memory_bytes: int = MEMORY_BYTES,
    processor_s: float = PROCESSOR_S,
) -> Findings:
    """Read mutants of files, taking turns among the seeds, and tell what became of them.

    Parameters
    ----------
    seeds : small sound files; a mutant bears the name of its seed.
    reader : takes the path of a mutant, in a worker that is forked from here; whatever it returns is dropped.
    folder : for the mutants, one at a time; a file that stands beside a seed may be laid there before.
    numbers : of the mutants.
    seed : another one makes other mutants.
    memory_bytes : of address space that reading one may take, over what this process has.
    processor_s : of processor time for one.
    """
    findings, contents = Findings(), [path.read_bytes() for path in seeds]

    def read_one(number: int) -> str:
        which = number % len(seeds)
        path = folder / seeds[which].name
        path.write_bytes(mutant(contents[which], number, seed=seed)[0])
        return _outcome(reader, path)

    left = list(numbers)
    while left:
        batch, left = left[:_BATCH], left[_BATCH:]
        said = _in_worker(read_one, batch, memory_bytes=memory_bytes, processor_s=processor_s)
        for number, what in zip(batch, said, strict=False):
            name = seeds[number % len(seeds)].name
            if what == "read" or what.startswith("refused: "):
                findings.counts[name, what.split(":")[0]] += 1
                continue
            done = mutant(contents[number % len(seeds)], number, seed=seed)[1]
            findings.faults.append(Fault(name, number, done, what))
        left = batch[len(said) :] + left
    return findings


def guarded(
    reader: Reader, path: Path, *, memory_bytes: int = MEMORY_BYTES, processor_s: float = PROCESSOR_S
) -> str:
    """What becomes of one file in a worker of its own: "read", "refused: " and the words, or worse."""
    said = _in_worker(
        lambda _: _outcome(reader, path), [0], memory_bytes=memory_bytes, processor_s=processor_s
    )
    return said[0]


def _outcome(reader: Reader, path: Path) -> str:
    """What became of one file. A warning is a fault, and so is a refusal that does not name the file."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            reader(path)
    except PlanningError as error:
        named = path.name in str(error)
        return f"refused: {error}" if named else f"refused without the file's name: {error}"
    except BaseException:  # noqa: BLE001 - that is what is looked for
        return traceback.format_exc()
    return "read"


def _in_worker(
    work: Callable[[int], str], numbers: Sequence[int], *, memory_bytes: int, processor_s: float
) -> list[str]:
    """What a forked worker says of each number, up to the one that ends it: its end, and its last words.

    A worker that has taken much memory ends by itself, so that the next mutant is not blamed for it.
    """
    ours, theirs = Pipe(duplex=False)
    said: list[str] = []
    with tempfile.TemporaryFile() as log:
        child = os.fork()
        if child == 0:  # nothing may leave this branch: a second test run would go on
            with suppress(BaseException):
                os.dup2(log.fileno(), 2)  # libraries print what they think of the file
                faulthandler.enable(file=log)
                _work_off(work, numbers, theirs, memory_bytes=memory_bytes, processor_s=processor_s)
            os._exit(0)
        theirs.close()
        done = False
        with suppress(EOFError):  # it is gone
            while not done and ours.poll(WAITING_S):
                what, done = ours.recv()
                said.append(what)
        if not done:
            os.kill(child, signal.SIGKILL)  # where it is not gone, it waits for ever
        status = os.waitpid(child, 0)[1]
        if not done:
            log.seek(0)
            words = log.read()[-1500:].decode(errors="replace")
            said.append(f"{_end_of(status, processor_s)}\n{words}".strip())
    return said


def _end_of(status: int, processor_s: float) -> str:
    if not os.WIFSIGNALED(status):
        return f"crash: the worker left with status {status}"
    number = os.WTERMSIG(status)
    if number == signal.SIGPROF:
        return f"hang: over {processor_s:g} s of processor time"
    if number == signal.SIGKILL:
        return f"hang: no answer in {WAITING_S:g} s"
    return f"crash: {signal.Signals(number).name}"


def _work_off(
    work: Callable[[int], str],
    numbers: Sequence[int],
    answers: Connection,
    *,
    memory_bytes: int,
    processor_s: float,
) -> None:
    before = _address_space_bytes()
    most = before + memory_bytes
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGPROF, signal.SIG_DFL)  # ends even a loop in a library
    for number in numbers:
        os.ftruncate(2, 0)
        os.lseek(2, 0, os.SEEK_SET)
        signal.setitimer(signal.ITIMER_PROF, processor_s)
        held = _most_held_bytes()
        what = work(number)
        signal.setitimer(signal.ITIMER_PROF, 0)
        took = _most_held_bytes() - held
        if took > _NEARLY_ALL * memory_bytes:  # a library may swallow that it got no more
            what = f"memory: {took / 1e6:.0f} MB taken; {what}"
        kept = _address_space_bytes() - before
        done = number == numbers[-1] or max(kept, took) > memory_bytes / 4  # the next one: from the start
        answers.send((what, done))
        if done:
            return


def _most_held_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _address_space_bytes() -> int:
    return int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
