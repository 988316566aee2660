"""Bars on a terminal that does not exist."""

import io

from rich.console import Console

from stressmap.core.progress import Bars


def terminal() -> tuple[Console, io.StringIO]:
    out = io.StringIO()
    return Console(force_terminal=True, force_interactive=True, file=out, width=80), out


def shown_at_once(console: Console) -> Bars:
    """Bars whose patience is over, without waiting for the timer."""
    bars = Bars(console, patience_s=3600.0)
    bars.__enter__()
    bars._show()
    return bars


def test_a_bar_shows_the_stage_and_the_time_left_where_steps_are_counted() -> None:
    console, out = terminal()
    bars = shown_at_once(console)
    bars.stage("Mapping blocks", 4)
    bars.step()
    bars._display.refresh()
    assert "Mapping blocks" in out.getvalue()
    task = bars._display.tasks[0]
    assert (task.completed, task.total) == (1, 4)
    bars._display.tasks[0].start_time -= 90.0  # ranches take minutes each, and two may end together
    bars.step()
    assert bars._display.tasks[0].fields["left"] in {"0:01:30", "0:01:31"}
    bars._display.refresh()
    assert "0:01:3" in out.getvalue()
    bars.stage("Writing files", 2)
    assert [task.description for task in bars._display.tasks] == ["Writing files"]
    bars.__exit__()


def test_without_steps_the_time_gone_is_shown_and_no_time_left() -> None:
    console, out = terminal()
    bars = shown_at_once(console)
    bars.stage("Fitting")
    bars._display.refresh()
    assert "Fitting" in out.getvalue()
    assert "0:00:00" in out.getvalue()
    assert "-:--:--" not in out.getvalue()
    bars.__exit__()


def test_what_is_over_before_the_patience_is_shows_nothing() -> None:
    console, out = terminal()
    with Bars(console, patience_s=3600.0) as bars:
        bars.stage("Reading files", 1)
        bars.step()
    bars._show()
    assert out.getvalue() == ""


def test_the_timer_shows_the_bar() -> None:
    console, out = terminal()
    with Bars(console, patience_s=0.0) as bars:
        bars.stage("Fitting")
        bars._timer.join()
    assert "Fitting" in out.getvalue()


def test_nothing_is_shown_when_piped_or_hidden() -> None:
    piped = io.StringIO()
    with Bars(Console(file=piped), patience_s=0.0) as bars:
        bars.stage("Fitting", 2)
        bars.step()
        bars._show()
    assert piped.getvalue() == ""
    console, out = terminal()
    with Bars(console, hidden=True, patience_s=0.0) as bars:
        bars.stage("Fitting", 2)
        bars._show()
    assert out.getvalue() == ""
