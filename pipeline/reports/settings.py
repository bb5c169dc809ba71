"""Settings of the reports room."""

from pydantic import BaseModel, ConfigDict, Field


class ReportSettings(BaseModel):
    """How reports count, compare and judge."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    confidence: float = Field(0.95, gt=0.5, lt=1, description="Confidence of every interval.")
    resamples: int = Field(4000, ge=200, description="Samples drawn again for the interval of a median or a mean.")
    shuffles: int = Field(9999, ge=199, description="Shuffles of two sides that a difference is held against.")
    seed: int = Field(2611, ge=0, description="Seed of everything drawn; the same tags give the same report.")
    fewest_runs: int = Field(
        8, ge=3, description="A side with fewer runs whose point is known is too small to be compared."
    )
    share_that_matters: float = Field(
        0.2, gt=0, lt=1, description="Difference between two shares that would change what is practised."
    )
    feet_that_matter: float = Field(
        1.0, gt=0, description="Least difference in feet that matters, where good and poor lie no further apart."
    )
    seconds_that_matter: float = Field(0.3, gt=0, description="The same for times, in seconds.")
    fewest_games: int = Field(6, ge=4, description="A trend gets its line from this many games on.")
    crowded_from: int = Field(5, ge=1, description="Bodies in the paint that a congestion report calls crowded.")
    fewest_turns: int = Field(5, ge=1, description="Units that turned fewer corners are told as one line together.")
    clips_shown: int = Field(3, ge=0, le=12, description="Best and worst runs on a set's sheet, each.")
