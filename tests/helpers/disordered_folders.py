"""Disorder an output folder and its surroundings at random, write into it, and look what was touched.

Each state is drawn from a seed: leftovers of killed runs, planted ones that only look so, links, files of
the user's own, other owners. What must hold: nothing outside the folder changes, no file of the user's own
changes, an earlier result is whole or replaced by a whole new one, and what was planted is neither believed
nor moved.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import string
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from stressmap.core.errors import OutputError
from stressmap.output import outputs
from stressmap.output.staging import atomic_replace
from stressmap.output.staging.output_folder import make_ready, staged

RUN = outputs.files_of("run")
NAMES = sorted(RUN.writes - {"run.json"})
ODD = [
    "../secret",
    "/etc/hostname",
    "..",
    ".",
    "Map.HTML",
    "notes.txt",
    "map.html",
    "sub/x",
    "",
    "run.json",
    "x" * 200,
]


class State:
    """One drawn state in a folder of its own.

    Parameters
    ----------
    root : Path
        An empty folder.
    chance : Random
        Seeded.
    """

    def __init__(self, root: Path, chance: random.Random) -> None:
        self.root, self.chance = root, chance
        self.outside, self.parent = root / "outside", root / "results"
        self.target = self.parent / "out"
        for folder in (self.outside, self.parent):
            folder.mkdir(parents=True)
        (self.outside / "secret").write_text("secret")
        (self.outside / "key").write_text("key")
        self.result = ""
        self.disturbed = False

    def disorder(self) -> None:
        """Draw everything."""
        self._earlier_result()
        for _ in range(self.chance.randrange(4)):
            self.chance.choice(
                [self._planted, self._own_file, self._link, self._crashed, self._odd_neighbour]
            )()
        if self.chance.random() < 0.2 and os.geteuid() == 0:
            some = [p for p in self.parent.rglob("*") if not p.is_symlink()]
            if some:
                self.disturbed = True
                os.chown(self.chance.choice(some), 12345, 12345)

    def _earlier_result(self) -> None:
        if self.chance.random() < 0.7:
            self.result = f"old {self.chance.random()}"
            write(self.target, self.chance.sample(NAMES, self.chance.randrange(1, 6)), self.result)
        elif self.chance.random() < 0.5:
            self.target.mkdir(exist_ok=True)

    def _name(self) -> str:
        return self.chance.choice(NAMES + ODD)

    def _planted(self) -> None:
        letters = "".join(self.chance.choices(string.ascii_lowercase, k=8))
        name = self.chance.choice(["out", "out", "results", "..", ""])
        shop = self.parent / f".{name}.{letters}.partial"
        shop.mkdir()
        for file in ("stressmap.lock", "stressmap.proof", "go", "back"):
            if self.chance.random() < 0.6:
                lines = "\n".join(self.chance.choices(ODD, k=3))
                (shop / file).write_text(self.chance.choice([lines, "out", "..", "0" * 64, ""]))
        for folder in ("new", "old", "whole"):
            if self.chance.random() < 0.3:
                (shop / folder).symlink_to(self.chance.choice([self.outside, self.target]))
            elif self.chance.random() < 0.7:
                self._fill(shop / folder)

    def _fill(self, folder: Path) -> None:
        folder.mkdir()
        for name in self.chance.sample(NAMES, 3):
            if self.chance.random() < 0.5:
                (folder / name).symlink_to(
                    self.chance.choice([self.outside / "key", self.outside, Path("../..")])
                )
            elif self.chance.random() < 0.2:
                (folder / name).mkdir()
            else:
                (folder / name).write_text("planted")

    def _own_file(self) -> None:
        name = self._name()
        if self.target.is_dir() and name not in {"..", ".", ""} and "/" not in name:
            place = self.target / name
            if not os.path.lexists(place):
                self.disturbed = True
                place.write_text("mine")

    def _link(self) -> None:
        if self.target.is_dir():
            place = self.target / self.chance.choice(NAMES)
            if not os.path.lexists(place):
                self.disturbed = True
                place.symlink_to(self.chance.choice([self.outside / "key", self.outside, Path("nowhere")]))
        elif not os.path.lexists(self.target):
            self.disturbed = True  # an earlier result that a killed run took away stays in its workshop then
            self.target.symlink_to(self.chance.choice([self.outside, self.root / "none"]))

    def _crashed(self) -> None:
        """Leave behind what a killed run of ours leaves, by ending one in the middle."""
        if not os.path.lexists(self.target) or self.target.is_symlink():
            return
        child = os.fork()
        if child == 0:
            one_by_one = self.chance.random() < 0.5
            if one_by_one:
                atomic_replace._may_go_whole = lambda *_: False
            atomic_replace.exchange = lambda *_: False
            _end_after(self.chance.randrange(1, 30))
            try:
                write(self.target, self.chance.sample(NAMES, 3), f"crashed {self.chance.random()}")
            except BaseException:
                os._exit(1)
            os._exit(0)
        os.waitpid(child, 0)

    def _odd_neighbour(self) -> None:
        letters = "".join(self.chance.choices(string.ascii_lowercase, k=8))
        place = self.parent / f".out.{letters}.partial"
        how = self.chance.randrange(4)
        if how == 0:
            place.write_text("mine")
        elif how == 1:
            place.symlink_to(self.outside)
        elif how == 2:
            place.mkdir()
            (place / "film.part").write_text("mine")
        else:
            place.mkdir()
            os.mkfifo(place / "stressmap.lock")


def _end_after(steps: int) -> None:
    """End this process at its n-th move of a file."""
    left = [steps]
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        left[0] -= 1
        if left[0] <= 0:
            os._exit(9)
        return real(self, target)

    Path.rename = rename  # type: ignore[method-assign]


def write(target: Path, names: list[str], text: str) -> None:
    """Write a result of the given files."""
    with staged(target, RUN) as folder:
        for name in names:
            (folder / name).write_text(text)
        page = {"text": text, "files": [*names, "run.json"], "versions": {"stressmap": "1"}}
        (folder / "run.json").write_text(json.dumps(page))


def result_in(target: Path) -> str | None:
    """Give the text of the whole result in a folder; None if there is none, or no whole one."""
    try:
        page = json.loads((target / "run.json").read_text())
        whole = all((target / n).read_text() == page["text"] for n in page["files"] if n != "run.json")
    except (OSError, ValueError, LookupError, TypeError):
        return None
    return page["text"] if whole else None


def tree(folder: Path, skip: Callable[[Path], bool]) -> dict[str, str]:
    """Tell every path below a folder, with what it holds."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if skip(path):
            continue
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"link {path.readlink()}"
        elif path.is_file():
            found[name] = path.read_text()
        else:
            found[name] = "folder" if path.is_dir() else "other"
    return found


def own_files(target: Path) -> dict[str, str]:
    """Give everything in the target that is not of an earlier result of ours."""
    try:
        page = json.loads((target / "run.json").read_text())
        listed = {n for n in page["files"] if (target / n).is_file() and not (target / n).is_symlink()}
    except (OSError, ValueError, LookupError, TypeError):
        listed = set()
    ours = ("crashed ", "old ", '{"text"')
    there = tree(target, lambda _: False) if target.is_dir() else {}
    return {n: t for n, t in there.items() if n not in listed and not t.startswith(ours)}


def one(root: Path, seed: int) -> list[str]:
    """Draw a state, write into it, and tell what was harmed."""
    state = State(root, random.Random(seed))
    state.disorder()
    target = Path(os.path.realpath(state.target))
    held = target.is_relative_to(state.outside)
    before = tree(state.outside, lambda _: False)
    planted = tree(state.parent, lambda p: not _planted_part(state, p))
    mine, earlier = own_files(target), result_in(target)
    said, harmed = "", []
    with suppress(OutputError):
        make_ready(state.target, RUN)
    if state.result and not state.disturbed and result_in(target) is None:
        harmed.append("an earlier result that was not put right")
    try:
        make_ready(state.target, RUN)
        write(state.target, ["map.html", "valves.csv"], "new")
    except OutputError as error:
        said = str(error)
    after = tree(state.outside, lambda _: False)
    if {n: after.get(n) for n in before} != before or (not held and after != before):
        harmed.append("something outside")
    if any(tree(target, lambda _: False).get(n) != t for n, t in mine.items()):
        harmed.append(f"the user's own {sorted(mine)}")
    now = result_in(target)
    mended = {now} if now and now.startswith(("crashed ", "old ")) else set()
    if now not in ({earlier} | mended if said else {"new"}):
        harmed.append(f"the result: {earlier!r} became {now!r} ({said})")
    kept = tree(state.parent, lambda p: not _planted_part(state, p))
    if {n: t for n, t in planted.items() if t in {"planted", "mine"}} != {
        n: t for n, t in kept.items() if t in {"planted", "mine"}
    }:
        harmed.append("what was planted or another's was moved")
    if any("planted" in t for t in tree(target, lambda _: False).values()):
        harmed.append("what was planted was taken for a result")
    shutil.rmtree(root)
    return [f"state {seed}: {what}" for what in harmed]


def _planted_part(state: State, path: Path) -> bool:
    first = path.relative_to(state.parent).parts[0]
    return first.endswith(".partial")
