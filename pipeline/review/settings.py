"""Settings of the review room."""

from pydantic import BaseModel, ConfigDict, Field


class ReviewSettings(BaseModel):
    """How the pages are served, and to whom."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    session_hours: float = Field(12.0, gt=0, le=720, description="A login ends after so many hours, used or not.")
    idle_hours: float = Field(3.0, gt=0, le=720, description="A login that is not used ends after so many hours.")
    logins_per_minute: int = Field(10, ge=1, description="Tries to log in that one address, or one name, may make.")
    writes_per_minute: int = Field(600, ge=1, description="Decisions and other changes that one person may send.")
    upload_mb: float = Field(2.0, gt=0, le=100, description="Largest request that is read.")
    cut_cache_gb: float = Field(
        2.0, gt=0, description="Room for cuts of films that browsers cannot play; the oldest make way."
    )
    nudge_s: float = Field(0.1, gt=0, le=5, description="One nudge moves a tag's start or end by so much.")
