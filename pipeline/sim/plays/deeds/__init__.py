"""deeds: what happened in a simulated possession, by the glossary's definitions on the exact paths.

Comes in: a ``Run`` (paths, facing, who holds the ball, who guards whom, what the script meant). Goes out: actions and
faults with measures and traits of the vocabulary, each certain or doubtful. Written apart from ``pipeline.actions`` and
``pipeline.spacing``, so that an error in one of the two shows. An action is certain when a script meant it and the
paths hold it, or, for what a script does not choose (touches, passes, drives, denials), when the paths hold it by a
margin. What only the loose rule finds is doubtful: the evaluation counts it neither way.
"""
