"""End, or fail, putting results in place at every single step that touches the disk, and look what is left.

``python tests/helpers/crashing.py FOLDER`` prints one line of JSON: how many steps were tried in each case,
and everything that was found broken. A process of its own: it forks, and hears every step by an audit hook.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from stressmap.core.errors import OutputError
from stressmap.output import outputs
from stressmap.output.staging import atomic_replace
from stressmap.output.staging.output_folder import make_ready, staged

STEPS = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "open", "os.listdir", "os.scandir"}
OLD, NEW = ("map.html", "water_plan.csv", "run.json"), ("map.html", "look_again.csv", "run.json")
CASES = ("replace", "replace without exchange", "first result", "among the user's own files")


class Counter:
    """Counts steps once it is told to, and acts at the one it waits for."""

    def __init__(self, act: Callable[[], None]) -> None:
        self.left, self.act = -1, act
        sys.addaudithook(self.hear)

    def hear(self, event: str, _: object) -> None:
        if event in STEPS and self.left > 0:
            self.left -= 1
            if self.left == 0:
                self.act()


def fail() -> None:
    raise OSError(5, "Input/output error")


def write(
    target: Path, names: tuple[str, ...], text: str, counter: Counter | None = None, step: int = 0
) -> None:
    with staged(target, outputs.files_of("run")) as folder:
        for name in names[:-1]:
            (folder / name).write_text(text)
        page = {"text": text, "files": list(names), "versions": {"stressmap": "1"}}
        (folder / "run.json").write_text(json.dumps(page))
        if counter is not None:
            counter.left = step


def state(target: Path) -> str:
    """Old, new, nothing, or what is wrong."""
    if not target.exists():
        return "nothing"
    found = {p.name for p in target.iterdir()} - {"mine.txt"}
    for names, text in ((OLD, "old"), (NEW, "new")):
        if found == set(names) and all(text in (target / name).read_text() for name in names):
            return text
    return f"a mix of {sorted(found)}"


def one(folder: Path, case: str, step: int, act: Callable[[], None]) -> tuple[bool, list[str]]:
    """Try one step; tell whether the child came to its end before it, and what is broken."""
    target = folder / "out"
    if case != "first result":
        write(target, OLD, "old")
    if case == "among the user's own files":
        (target / "mine.txt").write_text("mine")
    child = os.fork()
    if child == 0:
        counter, code = Counter(act), 3
        if case == "replace without exchange":
            atomic_replace.exchange = lambda _a, _b: False
        try:
            write(target, NEW, "new", counter, step)
            code = 0 if counter.left > 0 else 4
        except OutputError:
            code = 4
        finally:
            counter.left = -1
            os._exit(code)
    status = os.waitpid(child, 0)[1]
    code = os.waitstatus_to_exitcode(status)
    broken = broken_in(target, case, code)
    shutil.rmtree(target, ignore_errors=True)
    return code == 0, [f"{case}, step {step}, exit {code}: {what}" for what in broken]


def broken_in(target: Path, case: str, code: int) -> list[str]:
    allowed = {"nothing", "new"} if case == "first result" else {"old", "new"}
    at_once = state(target)
    one_step = case in {"replace", "first result"}
    broken = [] if code in {0, 4, -signal.SIGKILL} else ["a defect"]
    if (one_step or code != -signal.SIGKILL) and at_once not in allowed:
        broken.append(f"at once {at_once}")
    make_ready(target, outputs.files_of("run"))
    if state(target) not in allowed:
        broken.append(f"after the next run began {state(target)}")
    if case == "among the user's own files" and (target / "mine.txt").read_text() != "mine":
        broken.append("the user's own file")
    return broken + [f"left over {p.name}" for p in target.parent.iterdir() if p != target]


def main(folder: Path) -> None:
    os.fsync = lambda _: None  # a thousand waits for the disk that tell nothing here
    folder.mkdir(parents=True, exist_ok=True)
    tried, broken = {}, []
    for name, act in (("killed", lambda: os.kill(os.getpid(), signal.SIGKILL)), ("failed", fail)):
        for case in CASES:
            step, done = 0, False
            while not done and step < 200:
                step += 1
                done, found = one(folder, case, step, act)
                broken += found
            tried[f"{case}, {name}"] = step - 1
    sys.stdout.write(json.dumps({"tried": tried, "broken": broken}) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
