"""What scripts of the pages send: JSON in the body of a request, checked against a model."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

from fastapi import HTTPException, Request
from pydantic import BaseModel, ValidationError

Model = TypeVar("Model", bound=BaseModel)


def sent(model: type[Model]) -> Callable[[Request], Awaitable[Model]]:
    """A dependency that reads a request's body as a model; what is not understood is refused in one sentence.

    The token of a form is read by every request (:func:`pipeline.review.safety.checked_token`), and FastAPI takes a
    body either as a form or as JSON; so JSON is read here.
    """

    async def read(request: Request) -> Model:
        try:
            return model.model_validate_json(await request.body())
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or "what was sent"
            raise HTTPException(
                422, f"'{where}' was not understood: {first['msg'].lower()}; load the page again."
            ) from None

    return read
