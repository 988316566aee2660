"""How large tables may be: both sides of each bound, with bounds that are put in."""

from pathlib import Path

import pandas as pd
import pytest

from stressmap.core.errors import DataError
from stressmap.core.machine_memory import ASSUMED_BYTES, memory_bytes, most_that_fit
from stressmap.intake import several_files, table_limits
from stressmap.intake.table_limits import TableLimits, most_rows, refuse_endless
from stressmap.intake.tabular import Sheet


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (table_limits, several_files):
        monkeypatch.setattr(module, "table_limits", lambda: TableLimits(rows=10, cells=40))


def test_a_table_at_the_bound_is_read_and_one_row_or_cell_more_is_refused() -> None:
    refuse_endless(10, 40, "log.csv")
    with pytest.raises(DataError) as rows:
        refuse_endless(11, 22, "log.csv")
    assert str(rows.value) == (
        "log.csv: it has more than 10 rows, the most that are read on this machine. "
        "Cut it to the rows and columns that are needed."
    )
    with pytest.raises(DataError, match="it has more than 40 cells, the most"):
        refuse_endless(10, 41, "log.csv")


def test_wide_tables_may_have_fewer_rows() -> None:
    assert [most_rows(columns, "log.csv") for columns in (0, 4, 5, 40)] == [10, 10, 8, 1]
    with pytest.raises(DataError, match="it has 501 columns; at most 500 are read"):
        most_rows(501, "log.csv")


def test_files_together_are_refused_with_their_rows_and_what_fits() -> None:
    sheets = [Sheet(f"{rows}.csv", ("a",), ("",), pd.DataFrame({0: ["1"] * rows})) for rows in (4, 6, 1)]
    several_files._refuse_too_much(sheets[:2], [Path("4.csv"), Path("6.csv")])
    with pytest.raises(DataError) as caught:
        several_files._refuse_too_much(sheets, [Path("4.csv"), Path("6.csv"), Path("1.csv")])
    assert str(caught.value) == (
        "4.csv and 2 more: they have 11 rows in 3 sheets together; 10 rows and 1,000 sheets are the most "
        "that are read on this machine. Move those of earlier seasons away."
    )


def test_memory_is_what_a_container_may_take_where_that_is_less(tmp_path: Path) -> None:
    limit, none = tmp_path / "memory.max", tmp_path / "limit_in_bytes"
    limit.write_text("3000000000\n")
    none.write_text("max\n")
    unlimited = tmp_path / "version_1"
    unlimited.write_text(f"{2**63 - 4096}\n")
    found = memory_bytes([limit, none, unlimited, tmp_path / "missing"])
    assert found == min(3_000_000_000, memory_bytes([]))


def test_where_the_system_does_not_tell_a_size_is_assumed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr("os.sysconf")
    assert memory_bytes([]) == ASSUMED_BYTES
    assert most_that_fit(1_000, ASSUMED_BYTES) == 4_000_000
