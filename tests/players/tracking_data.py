"""Made-up tracking data: ten players and a ball that is held, passed and shot."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

SPOTS_FT = np.array(
    [[66, 25], [70, 8], [72, 43], [84, 46], [86, 14], [69, 25], [74, 11], [76, 39], [87, 42], [87, 19]], float
)
"""Attackers 0-4 and defenders 5-9 about the right ring, court frame."""
RING_FT = np.array([88.75, 25.0])


def tracking_table(*, rate: float = 10.0, start_s: float = 0.0, **more: object) -> pa.Table:
    """Eight seconds: 0 holds, passes to 1, 1 passes to 3, who shoots; everyone sways a little.

    ``more`` are columns with one value for all rows.
    """
    t = np.arange(0, 8, 1 / rate)
    legs = [(0, 0, 2.0), (0, 1, 2.8), (1, 1, 4.0), (1, 3, 5.0), (3, 3, 6.2), (3, None, 7.2), (None, None, 8.1)]
    sway = 0.8 * np.sin(t[:, None] + np.arange(10))
    players = SPOTS_FT[None] + np.stack([sway, sway[:, ::-1]], axis=-1)
    ball = np.zeros((len(t), 2))
    begin = 0.0
    for giver, taker, end in legs:
        during = (t >= begin) & (t < end)
        share = ((t[during] - begin) / (end - begin))[:, None]
        ends = [RING_FT if who is None else players[during, who] + [0.8, 0.6] for who in (giver, taker)]
        ball[during] = ends[0] + share * (ends[1] - ends[0])
        begin = end
    bodies = np.concatenate([ball[:, None], players], axis=1)
    count = len(t)
    columns = {
        "t_s": np.repeat(t + start_s, 11),
        "agent": np.tile(np.arange(-1, 10), count),
        "x_ft": bodies[..., 0].ravel(),
        "y_ft": bodies[..., 1].ravel(),
    }
    columns |= {name: [value] * (11 * count) for name, value in more.items()}
    return pa.table(columns)


def with_column(table: pa.Table, name: str, values: object) -> pa.Table:
    """The table with a column put in place of, or beside, what it has."""
    if name in table.schema.names:
        return table.set_column(table.schema.get_field_index(name), name, pa.array(values))
    return table.append_column(name, pa.array(values))


def renamed(table: pa.Table, **names: str) -> pa.Table:
    """The table with some columns called otherwise."""
    return table.rename_columns([names.get(name, name) for name in table.schema.names])
