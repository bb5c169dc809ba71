"""Settings of the night room: how a film is run."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from pipeline.backends import Device
from pipeline.film.fetching import FilmCache


class NightSettings(BaseModel):
    """How a film is run."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    analysed_frames_per_s: float = Field(
        12.5, gt=0, le=60, description="How many frames of film a second both networks look at."
    )
    device: Device = Field(
        Device.AUTO, description="Where the networks run: cpu, cuda, or auto (cuda where there is a GPU)."
    )
    network_threads: int = Field(0, ge=0, description="Processor threads for the networks; 0 takes all cores.")
    stretch_s: float = Field(
        2.0, gt=0, description="Film that is looked at together; on a GPU its frames go through a network at once."
    )
    piece_s: float = Field(
        12.0, gt=0, description="Film is looked at in pieces of about this length; a killed run goes on after them."
    )
    workers: int = Field(
        0, ge=0, description="Worker processes of a run; 0 sizes them by cores and memory, 1 does all in one process."
    )
    least_floor_share: float = Field(
        0.06, ge=0, le=1, description="Where less of the picture is floor, nobody is looked for (close-ups, crowd)."
    )
    look_margin_ft: float = Field(
        4.0, ge=0, description="In single pictures, bodies farther off the court than this are not shown."
    )
    film_endings: tuple[str, ...] = Field(
        (
            ".mp4",
            ".m4v",
            ".mov",
            ".mkv",
            ".ts",
            ".m2ts",
            ".mts",
            ".mpg",
            ".mpeg",
            ".avi",
            ".webm",
            ".mxf",
            ".wmv",
            ".flv",
        ),
        description="Files with these endings are films; capitals do not matter.",
    )
    settle_s: float = Field(
        10.0, ge=0, description="A film whose file has not changed for so long is whole and not still being copied."
    )
    watch_s: float = Field(30.0, gt=0, description="How often a watched folder is looked through for new films.")
    tries: int = Field(3, ge=1, description="How often a film is begun in one night when what went wrong may pass.")
    retry_wait_s: float = Field(
        60.0, ge=0, description="Wait this long before a film is tried again after a lost disk, share or worker."
    )
    lost_wait_s: float = Field(
        3600.0,
        ge=0,
        description="A night waits so long for a share that has gone away, and for another run that has the same film.",
    )
    least_free_gb: float = Field(
        2.0, ge=0, description="A night waits no longer and ends when the library's disk has less room than this."
    )
    notify: tuple[str, ...] = Field(
        (), description="Command that is run when a night ends, a word each; the record's path is added to it."
    )
    film_cache: str = Field(
        "~/.cache/elbowroom/films",
        description="Folder for films that are given by an address (s3://, sftp://, https://), on every machine.",
    )
    film_cache_gb: float = Field(
        100.0, ge=0, description="The films that were used longest ago go from that folder when it is larger."
    )

    @property
    def fetched_films(self) -> FilmCache:
        """Where films from an address are kept."""
        return FilmCache(self.film_cache, self.film_cache_gb)
