"""What people see everywhere alike: colours, patterns, type. Data only; every page, sheet and layer takes it from here.

Why these colours
-----------------
* One sequential ramp for vine size, light = small, dark = large, from straw over olive to blue-green ink. Its lightness
  falls evenly, so it keeps its order in grey print; it runs from yellow to blue, the axis that deuteranopes and
  protanopes keep. No red-yellow-green: under deuteranopia two of the five usual classes of such a scale can hardly be
  told apart.
* Uncertainty, bull canes and bud injury have a ramp of one hue each (brown, plum, blue), so that a picture of one is
  never taken for a picture of another. In all of them dark = more.
* Zones are shown by number, word, bands of tape and pattern; the colour only repeats it.
* Text is near-black on near-white (contrast above 12:1); lines that carry meaning are drawn in ink, because the light
  ends of the ramps have less than the 3:1 against paper that WCAG 2.1 (1.4.11) asks of graphics.
"""

from __future__ import annotations

INK = "#2b2118"
INK_SOFT = "#5b4e42"
PAPER = "#fbf9f3"
PAPER_DEEP = "#f1ede2"
RULE = "#b9ae9c"
ALARM = "#8f2f1f"

#: Vine size, small to large.
SIZE_RAMP = ("#f3ead3", "#d9c79a", "#a9a06c", "#5f7f73", "#1f4e5f")
#: Standard error, share of bull canes, share of dead buds: little to much.
ERROR_RAMP = ("#f7f1e6", "#dcc3a3", "#b08a63", "#75543a", "#3d2a1d")
BULL_RAMP = ("#f6eff0", "#dbbfc8", "#b18399", "#7a4f6b", "#432743")
INJURY_RAMP = ("#f0f3f6", "#c3cfdb", "#8aa0ba", "#51698d", "#27385c")

#: Fill, pattern and pattern ink by zone number; 0 is a block with one number.
ZONE_FILLS = {0: "#ece6d6", 1: "#e9d8a6", 2: "#94b0a0", 3: "#3d6b73", 4: "#1d3540"}
ZONE_PATTERNS = {0: "plain", 1: "dots", 2: "lines", 3: "hatch", 4: "solid"}
ZONE_PATTERN_INKS = {0: INK, 1: INK, 2: INK, 3: PAPER, 4: PAPER}

#: Fonts that are on the machine already; nothing is fetched. Serif for names and numerals, sans for small print.
SERIF = 'Charter, "Bitstream Charter", "Sitka Text", Cambria, Georgia, "Liberation Serif", "DejaVu Serif", serif'
SANS = '"Helvetica Neue", "Segoe UI", Roboto, "Liberation Sans", Arial, sans-serif'


def zone_style(zone: int, *, zones: int) -> int:
    """Return the key into the zone tables above: 0 when the block has one number, else the zone's number.

    Raises
    ------
    ValueError
        If there are more zones than styles, or `zone` is not among them.
    """
    if not 1 <= zone <= zones <= 4:
        raise ValueError(f"zone {zone} of {zones}: zones are numbered from 1 and there are at most four")
    return 0 if zones == 1 else zone


def ramp_color(share: float, *, ramp: tuple[str, ...] = SIZE_RAMP) -> str:
    """Return the ramp's colour at `share` (0 = first, 1 = last; clipped), linear in sRGB between its stops."""
    place = min(max(share, 0.0), 1.0) * (len(ramp) - 1)
    index = min(int(place), len(ramp) - 2)
    low, high = (_channels(ramp[index + step]) for step in (0, 1))
    mixed = (round(a + (b - a) * (place - index)) for a, b in zip(low, high, strict=True))
    return "#" + "".join(f"{channel:02x}" for channel in mixed)


def _channels(color: str) -> tuple[int, int, int]:
    return int(color[1:3], 16), int(color[3:5], 16), int(color[5:7], 16)
