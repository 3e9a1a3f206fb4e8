"""What all shapes of the JSON API share: reading records, and numbers that JSON can hold."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict


def _finite(value: Any) -> Any:
    """Return None for infinities: a time that is never reached has no number in JSON."""
    return value if not isinstance(value, float) or math.isfinite(value) else None


Number = Annotated[float | None, BeforeValidator(_finite)]
"""A number; null when it is without bound."""


class Out(BaseModel):
    """An answer that is read off a record of the engine."""

    model_config = ConfigDict(from_attributes=True)
