"""Ranches told apart, and a large ranch divided: in whatever order and place its parts are done, one map."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import distributed
import pytest

from stressmap.core import district_settings
from stressmap.jobs.district_ranches import listed_ranches
from stressmap.jobs.district_spread import OverCluster

NAMES = {"north/east": "Oak", "south/east": "Oak", "west": "Oak", "x": "Oak West", "gone": None}


def test_each_ranch_has_a_folder_of_its_own(tmp_path: Path) -> None:
    for place, name in NAMES.items():
        (tmp_path / place).mkdir(parents=True)
        if name is not None:
            (tmp_path / place / "ranch.toml").write_text(f'[ranch]\nname = "{name}"\n', encoding="utf-8")
    listed = ", ".join(f'"{place}"' for place in NAMES)
    (tmp_path / "d.toml").write_text(f'[district]\nname = "D"\nranches = [{listed}]\n', encoding="utf-8")
    ranches = listed_ranches(district_settings.load(tmp_path / "d.toml"))
    assert [ranch.slug for ranch in ranches] == ["oak-east", "oak-east-2", "oak-west", "oak-west-2", "gone"]
    assert [ranch.name for ranch in ranches] == ["Oak", "Oak", "Oak", "Oak West", "gone"]


class Promise:
    """A part that another worker may do, or not."""

    def __init__(self, work: Callable[[], Any], fate: str) -> None:
        self.work, self.status = work, fate

    def result(self) -> Any:
        if self.status == "finished":
            return self.work()
        raise RuntimeError

    def cancel(self) -> None:
        self.status = "cancelled"


class Cluster:
    """Workers that do the parts that they are told to."""

    def __init__(self, workers: int, fates: dict[int, str]) -> None:
        self.workers, self.fates = workers, fates
        self.sent: list[Promise] = []
        self.last = float("inf")

    def nthreads(self) -> dict[str, int]:
        return dict.fromkeys(["me", *(f"other{i}" for i in range(self.workers))], 1)

    def scatter(self, work: Any, **terms: bool) -> Any:
        assert terms == {"hash": False}
        return work

    def submit(self, task: Callable[..., Any], work: Any, part: range, **terms: Any) -> Promise:
        assert "me" not in terms["workers"]
        assert terms["priority"] < self.last, "the first part goes first"
        self.last = terms["priority"]
        self.sent.append(Promise(lambda: task(work, part), self.fates.get(len(self.sent), "pending")))
        return self.sent[-1]


def spread(monkeypatch: pytest.MonkeyPatch, cluster: Cluster, count: int) -> list[Any]:
    done: list[int] = []

    def mapping(block: int) -> int:
        done.append(block)
        return 10 * block

    def waited(futures: list[Promise], timeout: float, return_when: str) -> None:
        assert (len(futures) <= 2, timeout >= 0, return_when) == (True, True, "FIRST_COMPLETED")
        raise distributed.TimeoutError

    monkeypatch.setattr(distributed, "get_client", lambda: cluster)
    monkeypatch.setattr(distributed, "get_worker", lambda: type("Me", (), {"address": "me"}))
    monkeypatch.setattr(distributed, "wait", waited)
    found = OverCluster(divide_over=4, part_blocks=3)(mapping, count, lambda: None)  # type: ignore[arg-type]
    assert found == [10 * block for block in range(count)]
    return done


@pytest.mark.parametrize(
    "fates",
    [
        dict.fromkeys(range(4), "finished"),
        {},
        dict.fromkeys(range(4), "error"),
        {0: "finished", 1: "error", 2: "lost"},
        {3: "finished"},
    ],
)
def test_parts_make_the_whole_whoever_does_them(
    monkeypatch: pytest.MonkeyPatch, fates: dict[int, str]
) -> None:
    cluster = Cluster(2, fates)
    done = spread(monkeypatch, cluster, 11)
    assert sorted(done) == list(range(11)), "each block is mapped once"
    assert len(cluster.sent) == 4


@pytest.mark.parametrize(("workers", "count"), [(0, 11), (2, 4)])
def test_a_small_ranch_or_one_without_other_workers_is_not_divided(
    monkeypatch: pytest.MonkeyPatch, workers: int, count: int
) -> None:
    cluster = Cluster(workers, {})
    assert spread(monkeypatch, cluster, count) == list(range(count))
    assert cluster.sent == []
