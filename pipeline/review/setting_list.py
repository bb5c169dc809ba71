"""The settings that the server runs with, to be read."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pipeline.review.site import page, site
from pipeline.settings import Settings, describe_settings

router = APIRouter()

FILES = ("faults.", "set_library.")
"""What is a folder of files and no value."""


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting for the page; ``changed`` where it is not the shipped value."""

    name: str
    value: str
    meaning: str
    changed: bool


@dataclass(frozen=True, slots=True)
class SettingSection:
    """The settings of one section, under its dotted name."""

    name: str
    lines: tuple[SettingLine, ...]


def setting_sections(settings: Settings) -> tuple[SettingSection, ...]:
    """Every setting that is a value, in sections as ``settings.toml`` has them."""
    shipped = {name: value for name, _, value in describe_settings()}
    told = [
        (name.rpartition("."), value, field.description or "", value != shipped.get(name))
        for name, field, value in describe_settings(settings)
        if not name.startswith(FILES)
    ]
    return tuple(
        SettingSection(
            section,
            tuple(SettingLine(key, _words(value), meaning, changed) for (_, _, key), value, meaning, changed in lines),
        )
        for section, lines in groupby(told, key=lambda one: one[0][0])
    )


def _words(value: object) -> str:
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(str(one) for one in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


@router.get("/settings")
def settings_page(request: Request) -> HTMLResponse:
    """Every setting with its value and meaning."""
    sections = setting_sections(site(request).settings)
    return page(request, "settings.html", sections=sections, changed=sum(x.changed for s in sections for x in s.lines))
