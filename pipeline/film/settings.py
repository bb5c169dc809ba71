"""Settings of the film room."""

from pydantic import BaseModel, ConfigDict, Field


class DecodeSettings(BaseModel):
    """How much damage a film may have, and how it is decoded."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    threads: int = Field(2, ge=0, description="Decoder threads per film; 0 takes all cores.")
    largest_lost_share: float = Field(
        0.02, ge=0, le=1, description="Refuse a film that loses a larger share of its pictures to damage."
    )
    largest_missing_tail_s: float = Field(
        2.0, ge=0, description="Refuse a film that ends this many seconds before the length it announces."
    )
    longest_recovery_s: float = Field(
        5.0,
        gt=0,
        description="After damage, skip pictures up to the next whole one, but at most this long, in seconds.",
    )


class FilmSettings(BaseModel):
    """All settings of the film room."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    decode: DecodeSettings = Field(DecodeSettings(), description="Decoding and damage.")
