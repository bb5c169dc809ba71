"""pipeline: from a basketball film to tags that staff confirm; one room per step (see docs/architecture.md)."""
