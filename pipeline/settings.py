"""All settings of the product: one frozen model with a section per room, read from ``configs/``.

Defaults, bounds and descriptions are written in each room's ``settings.py`` and nowhere else. Staff change values
in ``configs/settings.toml``, what it leaves out keeps its default; sets are files of ``configs/sets/``, faults of
``configs/faults/``.
"""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo

from pipeline.actions.settings import ActionSettings
from pipeline.ball.settings import BallSettings
from pipeline.clips.settings import ClipSettings
from pipeline.court.settings import BookName, MarkSettings, MotionSettings, RegistrationSettings
from pipeline.errors import SettingsError
from pipeline.film.settings import FilmSettings
from pipeline.night.settings import NightSettings
from pipeline.players.settings import DetectorSettings, ImportSettings, NumberSettings, TrackSettings
from pipeline.reports.settings import ReportSettings
from pipeline.review.settings import ReviewSettings
from pipeline.sets.settings import SETS_FOLDER, SetLibrarySettings, SetSettings, set_library, shipped_sets
from pipeline.spacing.settings import FAULTS_FOLDER, FaultSettings, SpacingSettings, fault_settings, shipped_faults
from pipeline.tags.settings import TagSettings
from pipeline.user_files import first_wrong, read_toml, shown, shown_value

Model = TypeVar("Model", bound=BaseModel)

SETTINGS_FILE = "settings.toml"
PROFILES_FOLDER = "profiles"
OLD_FAULTS_FILE = "faults.toml"
"""Where earlier versions kept their fault rules."""


class CourtSettings(BaseModel):
    """Where the floor is."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    marks: MarkSettings = Field(MarkSettings(), description="Reading floor markings off a picture.")
    motion: MotionSettings = Field(MotionSettings(), description="Following the picture between looks at the floor.")
    registration: RegistrationSettings = Field(RegistrationSettings(), description="Finding the camera from them.")


class Settings(BaseModel):
    """Everything the product can be told, a section per room."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    film: FilmSettings = Field(FilmSettings(), description="Decoding, shots, live play.")
    court: CourtSettings = Field(CourtSettings(), description="Where the floor is.")
    detector: DetectorSettings = Field(DetectorSettings(), description="What the detector keeps in single pictures.")
    players: TrackSettings = Field(TrackSettings(), description="Who was where.")
    numbers: NumberSettings = Field(NumberSettings(), description="Which numbers they wear.")
    imported: ImportSettings = Field(ImportSettings(), description="Tracking data from elsewhere.")
    ball: BallSettings = Field(BallSettings(), description="Who has the ball.")
    actions: ActionSettings = Field(ActionSettings(), description="What happens on the floor.")
    sets: SetSettings = Field(SetSettings(), description="How plays are matched.")
    set_library: SetLibrarySettings = Field(default_factory=shipped_sets, description="The set library.")
    spacing: SpacingSettings = Field(SpacingSettings(), description="How much room there is.")
    faults: FaultSettings = Field(default_factory=shipped_faults, description="The fault library.")
    tags: TagSettings = Field(TagSettings(), description="What is put up for tagging.")
    clips: ClipSettings = Field(ClipSettings(), description="How clips are cut and drawn.")
    reports: ReportSettings = Field(ReportSettings(), description="How reports count and compare.")
    review: ReviewSettings = Field(ReviewSettings(), description="How the review pages are served.")
    night: NightSettings = Field(NightSettings(), description="How films are run.")

    def with_rule_book(self, book: BookName) -> Settings:
        """The same settings with the floor's rule book named."""
        registration = self.court.registration.model_copy(update={"rule_book": book})
        return self.model_copy(update={"court": self.court.model_copy(update={"registration": registration})})


def load_settings(folder: Path, profile: str | None = None) -> Settings:
    """Read the settings of a configuration folder.

    Parameters
    ----------
    folder : Path
        Holds ``settings.toml`` (sections named after the rooms), ``sets/`` and ``faults/`` (a file each); any may be
        missing, and the shipped ones are taken.
    profile : str, optional
        Name of a file in ``profiles/`` of that folder, in the form of ``settings.toml``: what it says goes before.

    Raises
    ------
    SettingsError
        If the folder does not exist, a file is not TOML, or a key or value is wrong; the text names file and key.
    """
    if not folder.is_dir():
        raise SettingsError(f"The configuration folder {folder} does not exist; give a folder with {SETTINGS_FILE}.")
    values = _read_toml(folder / SETTINGS_FILE)
    for section, place in (("faults", FAULTS_FOLDER), ("set_library", SETS_FOLDER)):
        if section in values:
            raise SettingsError(f"{folder / SETTINGS_FILE}: '{section}' are files in {place}/; write one there.")
    if (folder / OLD_FAULTS_FILE).exists():
        raise SettingsError(
            f"{folder / OLD_FAULTS_FILE} is no longer read; write what it changes into the files of "
            f"{folder / FAULTS_FOLDER}."
        )
    rooms = _validated(Settings, values, folder / SETTINGS_FILE)
    if profile is not None:
        path = _profile(folder, profile)
        rooms = _validated(Settings, _over(values, _read_toml(path)), path)
    found: dict[str, Any] = {}
    if (folder / FAULTS_FOLDER).is_dir():
        found["faults"] = fault_settings(folder / FAULTS_FOLDER)
    if (folder / SETS_FOLDER).is_dir():
        found["set_library"] = set_library(folder)
    return rooms.model_copy(update=found)


def _profile(folder: Path, name: str) -> Path:
    known = {path.stem: path for path in sorted((folder / PROFILES_FOLDER).glob("*.toml"))}
    if name not in known:
        raise SettingsError(
            f"There is no profile '{name}' in {folder / PROFILES_FOLDER}; there are: {', '.join(known) or 'none'}."
        )
    return known[name]


def describe_settings(model: BaseModel | None = None) -> Iterator[tuple[str, FieldInfo, Any]]:
    """Every setting that is a value, as (dotted name, its field, its value), in order of the rooms."""
    yield from _walk(model or Settings(), "")


def settings_as_toml() -> str:
    """The text of a ``settings.toml`` that changes nothing: every setting, its meaning and default, as comments."""
    lines = [
        "# Settings of every room. Each line shows a default; take away the '#' in front of a name to change it.",
        "# Sets and faults are files of their own: see the folders sets and faults.",
    ]
    section = None
    for name, field, value in describe_settings():
        if name.startswith(("faults.", "set_library.")):
            continue
        here, key = name.rsplit(".", 1)
        if here != section:
            lines += ["", f"[{here}]"]
            section = here
        bounds = _bounds(field)
        lines.append(f"# {field.description}{f' ({bounds})' if bounds else ''}")
        lines.append(f"# {key} = {_toml_value(value)}" if value is not None else f"# {key} = (not set)")
    return "\n".join(lines) + "\n"


def _walk(model: BaseModel, prefix: str) -> Iterator[tuple[str, FieldInfo, Any]]:
    later = []
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            later.append((value, f"{prefix}{name}."))
        else:
            yield f"{prefix}{name}", field, value
    for value, deeper in later:
        yield from _walk(value, deeper)


def _bounds(field: FieldInfo) -> str:
    signs = (("gt", ">"), ("ge", ">="), ("lt", "<"), ("le", "<="))
    found = [f"{sign} {getattr(rule, key)}" for rule in field.metadata for key, sign in signs if hasattr(rule, key)]
    return ", ".join(found)


def _toml_value(value: Any) -> str:
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)


def _read_toml(path: Path) -> dict[str, Any]:
    if not path.exists():
        return {}
    return read_toml(path, SettingsError)


def _validated(model: type[Model], values: dict[str, Any], path: Path) -> Model:
    for name, value in _floats(values, ""):
        if not math.isfinite(value):
            raise SettingsError(f"{path}: '{shown(name)}' cannot be {value}: it must be a number that ends; change it.")
    try:
        return model.model_validate(_over(model().model_dump(), values))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        name, what = first_wrong(error)
        if first["type"] == "extra_forbidden":
            known = [n for n, _, _ in describe_settings(model())] + list(_sections(model(), ""))
            close = difflib.get_close_matches(name, known, n=1)
            hint = f" did you mean '{close[0]}'?" if close else " see the comments in the shipped file."
            raise SettingsError(f"{path}: there is no setting '{name}';{hint}") from error
        raise SettingsError(f"{path}: '{name}' cannot be {shown_value(first['input'])}: {what}; change it.") from error


def _floats(value: Any, name: str) -> Iterator[tuple[str, float]]:
    """Every number with a fraction among values that were read, with its dotted name."""
    if isinstance(value, float):
        yield name, value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _floats(one, f"{name}.{key}" if name else key)
    elif isinstance(value, list):
        for one in value:
            yield from _floats(one, name)


def _over(defaults: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
    """Values laid over the defaults section by section, for a section's defaults may differ from its model's."""
    merged = dict(defaults)
    for key, value in values.items():
        before = merged.get(key)
        merged[key] = _over(before, value) if isinstance(before, dict) and isinstance(value, dict) else value
    return merged


def _sections(model: BaseModel, prefix: str) -> Iterator[str]:
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            yield f"{prefix}{name}"
            yield from _sections(value, f"{prefix}{name}.")
