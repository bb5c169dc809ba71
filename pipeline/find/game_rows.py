"""What ``game.toml`` says of every game of a library, a row each."""

from __future__ import annotations

import pyarrow as pa

from pipeline.errors import LibraryError
from pipeline.library.games import Library

GAME_ROWS = pa.schema(
    [
        ("game", pa.string()),
        ("date", pa.string()),
        ("opponent", pa.string()),
        ("rule_book", pa.string()),
        ("team_0", pa.string()),
        ("team_1", pa.string()),
        ("source", pa.string()),  # film or tracking
        ("path", pa.string()),
    ]
)


def game_rows(library: Library) -> tuple[pa.Table, tuple[str, ...]]:
    """The games, and a sentence for each whose ``game.toml`` cannot be read; what it would say is then unknown."""
    rows: list[dict[str, str | None]] = []
    left_out = []
    for game in library.games():
        try:
            told = game.file()
        except LibraryError as error:
            left_out.append(f"Game '{game.name}': its date and teams are unknown. {error}")
            rows.append({"game": game.name})
            continue
        source = told.film or told.tracking
        rows.append(
            {
                "game": game.name,
                "date": told.date or None,
                "opponent": told.opponent or None,
                "rule_book": told.rule_book or None,
                "team_0": told.team_0.name or None,
                "team_1": told.team_1.name or None,
                "source": "film" if told.film is not None else "tracking",
                "path": None if source is None else source.path,
            }
        )
    return pa.Table.from_pylist(rows, schema=GAME_ROWS), tuple(left_out)
