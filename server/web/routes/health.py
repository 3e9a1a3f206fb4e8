"""Says that the server is alive; never waits for anything."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)


@router.get("/health")
async def health() -> dict[str, str]:
    """Answer at once, from the event loop itself."""
    return {"status": "ok"}
