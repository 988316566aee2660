"""Work that no call wants any more ends before it is put in place; an older call writes over no newer one."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from stressmap.core.errors import OutputError
from stressmap.jobs.district_turn import MARK_OF_CALL, CallLetters, CallTurn, WhileWanted

SOON_S = 20.0
BEGUN, ENDED = threading.Event(), threading.Event()
WHY: list[str] = []


def test_a_newer_call_takes_the_turn_and_the_older_one_neither_writes_nor_takes_it_back(
    tmp_path: Path,
) -> None:
    with CallTurn(tmp_path) as older:
        tell = WhileWanted(older.of)
        tell.stage("Mapping", 2)
        with CallTurn(tmp_path) as newer:
            for told in (tell.step, lambda: tell.stage("Writing"), older.of.refuse_gone):
                with pytest.raises(OutputError, match="another call of district has begun in this folder"):
                    told()
            older.take()
            assert newer.of.stand()
            newer.of.refuse_gone()
        assert not newer.of.stand()
        older.take()
        assert not older.of.stand()
    assert list(tmp_path.iterdir()) == []


def test_a_worker_that_does_not_see_the_folder_says_so_and_not_that_another_call_began(
    tmp_path: Path,
) -> None:
    with pytest.raises(OutputError, match=r"folder is not there for the worker .* all workers see"):
        CallLetters(tmp_path / "elsewhere", "0").refuse_gone()


def test_an_older_call_that_ends_leaves_the_turn_of_the_newer_one(tmp_path: Path) -> None:
    older, newer = CallTurn(tmp_path), CallTurn(tmp_path)
    with older, newer:
        older.__exit__(None, None, None)
        assert newer.of.stand()
    assert list(tmp_path.iterdir()) == []


def test_after_a_killed_call_the_next_one_takes_its_turn(tmp_path: Path) -> None:
    killed = CallTurn(tmp_path).__enter__()
    assert (tmp_path / MARK_OF_CALL).is_file()
    with CallTurn(tmp_path) as turn:
        assert turn.of.stand()
        assert not killed.of.stand()
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_made_when_the_work_begins(tmp_path: Path) -> None:
    with CallTurn(tmp_path / "out") as turn:
        assert not (tmp_path / "out").exists()
        turn.take()
        assert turn.of.stand()
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with (
        CallTurn(tmp_path / "file" / "out") as turn,
        pytest.raises(OutputError, match="the output cannot be written"),
    ):
        turn.take()


def test_work_that_belongs_to_no_call_and_no_worker_goes_on() -> None:
    WhileWanted(None).stage("Mapping", 1)


def work() -> None:
    """Go on until nobody waits for it."""
    try:
        tell = WhileWanted(None)
        while True:
            tell.step()
            BEGUN.set()
            time.sleep(0.01)
    except OutputError as error:
        WHY.append(str(error))
    ENDED.set()


def test_on_a_cluster_that_goes_on_work_ends_once_the_connection_of_its_call_is_lost() -> None:
    """A worker in this process, whose scheduler loses the client without a word of farewell."""
    with LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        dashboard_address=None,
        scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        protocol="tcp",
    ) as cluster:
        client = Client(cluster.scheduler_address, set_as_default=False)
        future = client.submit(work, pure=False)
        assert BEGUN.wait(SOON_S)
        assert future.status == "pending"
        client.loop.add_callback(client.scheduler_comm.comm.abort)
        assert ENDED.wait(SOON_S)
        assert "nobody waits for this ranch any more" in WHY[0]
        client.close(timeout=1)
