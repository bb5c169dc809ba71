"""The tags of a library as rows, with what staff decided and how likely they are to confirm what is left."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa

from pipeline.conditions import folded
from pipeline.find.hits import told_actors
from pipeline.tags import Tag, TagStore

TAG_ROWS = pa.schema(
    [
        ("tag", pa.int64()),
        ("game", pa.string()),
        ("family", pa.string()),
        ("kind", pa.string()),
        ("shot", pa.int32()),
        ("possession", pa.int32()),
        ("team", pa.int8()),
        ("t_s", pa.float64()),
        ("start_s", pa.float64()),  # as staff edited it, else as found
        ("end_s", pa.float64()),
        ("state", pa.string()),
        ("severity", pa.string()),
        ("sentence", pa.string()),
        ("score", pa.float64()),
        ("probability", pa.float64()),
        ("ended", pa.string()),
        ("missing", pa.list_(pa.string())),
        ("who", pa.string()),  # the candidate's actors, see hits.told_actors
        ("actors", pa.list_(pa.struct([("role", pa.string()), ("track", pa.int32())]))),  # as staff edited them
        ("measures", pa.map_(pa.string(), pa.float64())),
        ("traits", pa.map_(pa.string(), pa.string())),
        ("labels", pa.list_(pa.string())),
        ("note", pa.string()),
        ("decided_by", pa.string()),
        ("decided_at", pa.timestamp("us", tz="UTC")),
    ]
)


DECISION_ROWS = pa.schema(
    [
        ("tag", pa.int64()),
        ("game", pa.string()),
        ("family", pa.string()),
        ("kind", pa.string()),
        ("verdict", pa.string()),
        ("score", pa.float64()),
        ("measures", pa.map_(pa.string(), pa.float64())),
        ("traits", pa.map_(pa.string(), pa.string())),
        ("decided_at", pa.timestamp("us", tz="UTC")),
        ("decided_by", pa.string()),
    ]
)


def rows_of(tags: Sequence[Tag], probabilities: dict[int, float]) -> pa.Table:
    """Tags as rows."""
    return pa.Table.from_pylist(
        [
            {
                "tag": tag.tag,
                "game": tag.game,
                "family": tag.candidate.family.value,
                "kind": tag.candidate.kind,
                "shot": tag.candidate.shot,
                "possession": tag.candidate.possession,
                "team": tag.candidate.team,
                "t_s": tag.candidate.t_s,
                "start_s": tag.start_s,
                "end_s": tag.end_s,
                "state": tag.state.value,
                "severity": tag.candidate.severity,
                "sentence": tag.candidate.sentence,
                "score": tag.candidate.score,
                "probability": probabilities.get(tag.tag),
                "ended": tag.candidate.ending,
                "missing": list(tag.candidate.missing),
                "who": told_actors(tag.candidate.actors),
                "actors": [{"role": role, "track": track} for role, track in tag.actors],
                "measures": list(tag.candidate.measures.items()),
                "traits": [
                    (name, folded(word))
                    for name, word in tag.candidate.traits.items()
                    if folded(word) not in ("unknown", "")
                ],
                "labels": list(tag.labels),
                "note": tag.note,
                "decided_by": tag.decided_by,
                "decided_at": tag.decided_at,
            }
            for tag in tags
        ],
        schema=TAG_ROWS,
    )


def decision_rows(store: TagStore) -> pa.Table:
    """The standing verdict of every decided tag."""
    return pa.Table.from_pylist(
        [
            {
                "tag": one.tag,
                "game": one.game,
                "family": one.family.value,
                "kind": one.kind,
                "verdict": one.verdict.value,
                "score": one.score,
                "measures": list(one.measures.items()),
                "traits": list(one.traits.items()),
                "decided_at": one.at,
                "decided_by": one.who,
            }
            for one in store.decisions()
        ],
        schema=DECISION_ROWS,
    )
