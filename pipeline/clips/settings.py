"""Settings of the clips room. Colours are red, green, blue; the defaults are safe for the colour-blind.

They are taken from Okabe & Ito, "Color Universal Design" (2008), whose eight colours stay apart under the common
colour deficiencies; shape tells the teams apart as well.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Channel = Annotated[int, Field(ge=0, le=255)]
Colour = tuple[Channel, Channel, Channel]


class ClipSettings(BaseModel):
    """How clips are cut and what is drawn on them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    before_s: float = Field(3.0, ge=0, description="Film shown before a candidate begins, in seconds.")
    after_s: float = Field(2.0, ge=0, description="Film shown after it ends.")
    longest_s: float = Field(20.0, gt=0, description="A clip shows at most this much film, around the moment.")
    freeze_s: float = Field(0.8, ge=0, description="How long the moment itself is held; 0 for not at all.")
    reel_freeze_s: float = Field(
        2.5, ge=0, description="How long a reel holds the moment of a clip whose item asks for it."
    )
    freeze_at: Literal["moment", "phases"] = Field(
        "moment", description="What is held: a tag's moment, or the moment of each phase of a set."
    )
    slow_before_s: float = Field(1.5, ge=0, description="A slower clip is slow from this long before the moment.")
    slow_after_s: float = Field(1.0, ge=0, description="And until this long after it.")
    title_card_s: float = Field(3.0, ge=0, description="How long a reel's title stands; 0 for none.")
    item_titles: Literal["card", "strip"] = Field(
        "card", description="A card before each clip of a reel, or a strip along its lower edge."
    )
    item_card_s: float = Field(2.2, ge=0, description="How long the card before a clip stands.")
    strip_s: float = Field(3.5, ge=0, description="How long the strip stands.")
    reel_height_px: int = Field(1080, ge=120, le=4320, description="A reel is at most this high.")
    diagram_height_px: int = Field(900, ge=240, le=2160, description="A moving half-court diagram is this high.")
    edl_timecode: Literal["drop", "non_drop"] = Field(
        "drop", description="How edit decision lists count frames at 29.97 and 59.94 a second."
    )
    quality: int = Field(20, ge=0, le=51, description="H.264 constant rate factor; lower is better and larger.")
    speed: str = Field("veryfast", description="H.264 encoder preset.")

    longest_bridge_s: float = Field(
        0.4, gt=0, description="Places between two analysed frames are interpolated if these are no further apart."
    )
    path_s: float = Field(4.0, gt=0, description="How much of the way somebody has walked is drawn, in seconds.")
    path_ahead_s: float = Field(2.0, ge=0, description="How much of the way ahead is drawn.")
    pass_shown_s: float = Field(1.2, gt=0, description="How long a pass stays on the floor after it was caught.")
    screen_half_ft: float = Field(2.3, gt=0, description="Half the length of a screen's bar.")
    figures: int = Field(2, ge=0, le=6, description="At most so many measured lengths are drawn at once.")
    figure_s: float = Field(0.7, gt=0, description="How long the length of an action stands while the film runs.")
    paint: Colour = Field((204, 121, 167), description="Fill of the attacked paint.")
    paint_other: Colour = Field((0, 158, 115), description="Fill where the floor's own colour is too near the first.")
    paint_strength: float = Field(0.42, ge=0, le=1, description="Opacity of that fill.")
    attack: Colour = Field((230, 159, 0), description="Rings and numbers of attackers in the paint.")
    defence: Colour = Field((86, 180, 233), description="Rings and numbers of defenders in the paint.")
    unknown: Colour = Field((225, 225, 225), description="Rings and numbers of bodies whose team is not known.")
    handler: Colour = Field((240, 228, 66), description="Rings of the handler.")
    ring_radius_ft: float = Field(1.6, gt=0, description="Radius of the ring under a body.")
    floor_likeness: float = Field(
        16.0, gt=0, description="CIELAB distance within which a pixel in front of the floor passes for floor."
    )
    text_share: float = Field(0.032, gt=0, le=0.2, description="Height of the caption's letters over the picture's.")
