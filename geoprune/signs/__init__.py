"""What stands in the row: which post carries which tape, how the block is walked, and how signs are read and named."""

from geoprune.signs.follow import follow, look_both_ways
from geoprune.signs.posts import sign_posts
from geoprune.signs.walk import bands_of, row_list, walking_direction
from geoprune.signs.wording import (
    HANG_SIGNS,
    READ_SIGNS,
    SIGNS_DISAGREE,
    place_name,
    post_name,
    posts_go,
    short_place,
    short_sign,
    sign_message,
)

__all__ = [
    "HANG_SIGNS",
    "READ_SIGNS",
    "SIGNS_DISAGREE",
    "bands_of",
    "follow",
    "look_both_ways",
    "place_name",
    "post_name",
    "posts_go",
    "row_list",
    "short_place",
    "short_sign",
    "sign_message",
    "sign_posts",
    "walking_direction",
]
