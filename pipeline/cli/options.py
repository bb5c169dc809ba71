"""Options that several commands share, and what they stand for: a library, settings, a profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from pipeline.library.games import Library
    from pipeline.settings import Settings

BookName = Literal["fiba", "nba", "ncaa", "nfhs"]
DeviceName = Literal["auto", "cpu", "cuda"]
LibraryOption = Annotated[Path, typer.Option("--library", help="Folder of the library; made when it is not there.")]
ConfigsOption = Annotated[
    Path | None,
    typer.Option("--configs", help="Folder with settings.toml and faults/; the shipped one if left out."),
]
ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", help="Profile of the configs folder (quick, thorough) that changes some settings."),
]
DeviceOption = Annotated[
    DeviceName | None,
    typer.Option("--device", help="Where the networks run; auto takes a GPU where there is one."),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        help="Share the work with a Ray cluster: HOST:PORT of its head, ray://HOST:PORT from outside, or local.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
FormOption = Annotated[
    Literal["table", "csv", "json", "parquet"], typer.Option("--form", help="How the answer is written.")
]
OutFileOption = Annotated[Path | None, typer.Option("--out", help="File for the answer; standard output if left out.")]
WhoOption = Annotated[str | None, typer.Option("--who", help="Who does it; your name on this machine if left out.")]


def open_library(folder: Path) -> Library:
    """The library in a folder; it must be there."""
    from pipeline.library.games import Library

    return Library(folder).must_exist()


def settings_of(
    configs: Path | None,
    *,
    book: BookName | None = None,
    device: DeviceName | None = None,
    rate: float | None = None,
    profile: str | None = None,
) -> Settings:
    """The settings of a folder of configs (the shipped one for None), changed by what the command line says."""
    from pipeline.night.settings import NightSettings
    from pipeline.settings import load_settings
    from pipeline.shipped import Shipped, shipped

    settings = load_settings(configs if configs is not None else shipped(Shipped.CONFIGS), profile)
    told = {"device": device, "analysed_frames_per_s": rate}
    night = settings.night.model_dump() | {name: value for name, value in told.items() if value is not None}
    settings = settings.model_copy(update={"night": NightSettings.model_validate(night)})
    return settings.with_rule_book(book) if book is not None else settings
