"""What every job looks at before its work: that it may write there, over nothing that was handed in."""

from __future__ import annotations

from pathlib import Path

from stressmap.core import settings
from stressmap.core.settings import Settings, Shared
from stressmap.output import outputs
from stressmap.output.staging.output_folder import make_ready
from stressmap.output.staging.result_files import Job


def handed_in(source: Path, chosen: Settings) -> tuple[Path, ...]:
    """Name every file that a job reads.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    chosen : Settings
        What it says.

    Returns
    -------
    tuple of Path
        Files, and folders of which every file counts.
    """
    named = (path for paths in chosen.named_inputs().values() for path in paths)
    return (source, *chosen.record.files, *named, *chosen.inputs().values())


def refuse_early(source: Path, out: Path | None, job: Job, shared: Shared | None = None) -> None:
    """Refuse an output folder before anything is read, where the user named one.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    out : Path or None
        The folder.
    job : {"run", "water"}
        What writes.
    shared : mapping of str to mapping, optional
        What counts where the settings say nothing.

    Raises
    ------
    SettingsError
        If ``ranch.toml`` is wrong.
    OutputError
        If the folder cannot be written, or something in it would be lost.
    """
    if out is not None:
        make_ready(out, outputs.files_of(job), handed_in(source, settings.load(source, shared)))
