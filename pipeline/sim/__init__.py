"""sim: invented games, filmed by an invented crew, with the truth beside them.

Comes in: a script name and a seed. Goes out: a film and truth tables in the pipeline's own schemas.
For training, tests and the demo only; imports nothing of the pipeline but table types and court
geometry.
"""
