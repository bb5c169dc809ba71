"""Tables of the night room."""

from pipeline.film.tables import SHOTS
from pipeline.tables import TableSpec

SHOTS_SEEN = TableSpec("shots_seen", SHOTS.version, SHOTS.schema)
"""The shots as the vision pass judges them; ``shots`` is what remains once the court has been looked for in them."""
