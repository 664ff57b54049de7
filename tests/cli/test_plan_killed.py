"""A run that is killed at any moment leaves the old output or the new one, complete."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.cli.conftest import leadsman
from tests.small_plan import edited

KILLS = 20

# One process loads everything and then forks a child a run, so that twenty kills take seconds. Half of the
# moments are drawn from the whole run, half from the time that the hidden folder beside the output is there.
DRIVER = """
import json, os, random, shutil, signal, sys, time
from pathlib import Path
from cli.main import run

plans, out, kills = sys.argv[1:3], Path(sys.argv[3]), int(sys.argv[4])
null = os.open(os.devnull, os.O_WRONLY)


def start(plan):
    child = os.fork()
    if child == 0:
        os.dup2(null, 1)
        os._exit(run(["plan", plan, "--out", str(out), "--overwrite"]))
    return child


def hidden():
    return [p for p in out.parent.iterdir() if p.name.startswith(".leadsman-")]


aside = str(out.with_name("aside"))
assert run(["plan", plans[0], "--out", aside, "--json"]) == 0  # loads here what is loaded late
shutil.rmtree(aside)
print(flush=True)
began = time.monotonic()
os.waitpid(start(plans[0]), 0)
whole = time.monotonic() - began
rng, found = random.Random(7), []
for k in range(kills):
    child = start(plans[k % 2])
    time.sleep(rng.uniform(0, whole) if k % 2 else 0)
    while not k % 2 and not hidden() and os.waitpid(child, os.WNOHANG) == (0, 0):
        time.sleep(0.001)
    time.sleep(0 if k % 2 else rng.uniform(0, 0.5 * whole))
    try:
        os.kill(child, signal.SIGKILL)
        status = os.waitpid(child, 0)[1]
    except (ChildProcessError, ProcessLookupError):
        status = 0
    keep = out.parent / f"after{k}"
    shutil.copytree(out, keep)
    found.append({"killed": os.WIFSIGNALED(status), "writing": len(hidden()) > 0, "kept": str(keep)})
print(json.dumps(found))
"""


def content(folder: Path) -> dict[str, object]:
    """Every file, byte for byte, but for the timings."""
    files: dict[str, object] = {p.name: p.read_bytes() for p in folder.iterdir()}
    files["plan.json"] = json.loads((folder / "plan.json").read_text("utf-8")) | {"timings_s": None}
    return files


def test_twenty_kills_leave_the_old_or_the_new_output_complete(plan, tmp_path):
    other = plan.with_name("other.toml")
    other.write_text(edited(("Little Bowl", "Other Bowl"), ('"22 ft"', '"23 ft"')), "utf-8")
    env = {"SOURCE_DATE_EPOCH": "1700000000", "PYTHONPATH": str(Path(__file__).parents[2])}
    whole = []
    for k, one in enumerate((plan, other)):
        assert leadsman("plan", one, "--out", tmp_path / f"whole{k}", env=env).code == 0
        whole.append(content(tmp_path / f"whole{k}"))
    out = tmp_path / "work" / "out"
    assert leadsman("plan", plan, "--out", out, env=env).code == 0

    done = subprocess.run(
        [sys.executable, "-c", DRIVER, plan, other, out, str(KILLS)],
        capture_output=True,
        text=True,
        env=env,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout.splitlines()[-1])

    assert len(found) == KILLS
    for moment in found:
        assert content(Path(moment["kept"])) in whole
    assert sum(m["killed"] for m in found) >= KILLS // 2  # most were really killed
    assert sum(m["writing"] for m in found) >= 3  # and some while they wrote
    assert leadsman("plan", other, "--out", out, "--overwrite", env=env).code == 0
    assert content(out) == whole[1]
    kept = sorted(p.name for p in out.parent.iterdir() if not p.name.startswith("after"))
    assert kept == ["out"]  # what the killed ones left was swept
