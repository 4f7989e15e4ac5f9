"""From a plate to a JPEG: card, white balance, exposure, noise, the phone's look. The same photo each time."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from PIL import Image

from tests.bench.heads.cards import corners_of, with_card
from tests.bench.heads.plates import Head, Shot
from tests.bench.spectra import noted
from tests.srgb import encode
from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.reading import Marks
from tracker.photo import Photo, decode_photo

ONE_LOOK, CHANGING = "one look", "changing look"
LOOKS = (ONE_LOOK, CHANGING)
"""All photos of a head with one look of its own; or another look in each photo, as phones choose by the scene."""
RIBBON = 0.055
"""Width of a path's ribbon as a share of the photo's width, as in the sample photos."""

_BALANCE = 0.05  # standard deviation of the log of the white balance's gains, from photo to photo
_STOPS = 0.7  # half width of the exposure
_ELECTRONS, _READ_NOISE = 9000.0, 3e-4  # of a white pixel; in units of white
_QUALITY = 92


@dataclass(frozen=True)
class Developed:
    """One photo, ready to be measured.

    Attributes
    ----------
    head : Head
    shot : Shot, the plate it came from
    kind : str, of its card, one of `cards.KINDS`
    look : float, 0 none to 1 strong
    content : bytes of the JPEG
    """

    head: Head
    shot: Shot
    kind: str
    look: float
    content: bytes

    @cached_property
    def picture(self) -> Photo:
        """The photo as the program opens it."""
        return decode_photo(self.content)

    @cached_property
    def hair(self) -> np.ndarray:
        """True on the pixels that show hair, (h, w): the outline that a perfect finder would give."""
        return self.shot.hair()

    @property
    def noted(self) -> str:
        """What a person would note of the light."""
        return noted(self.head.about["spectrum"])

    @property
    def marks(self) -> Marks:
        """Exact marks: the card's corners, the path, and a ribbon along it."""
        path = tuple((float(x), float(y)) for x, y in self.shot.path)
        return Marks(self.kind, corners_of(self.shot, self.kind), path, RIBBON * self.hair.shape[1])


def _draws(shot: Shot, *purpose: int) -> np.random.Generator:
    return np.random.default_rng((int(shot.name[:2]), shot.state, shot.number, *purpose))


def _number(again: int) -> tuple[int, ...]:
    """What makes the draws of another photo of the same plate others."""
    return (again,) if again else ()


def look_of(head: Head, shot: Shot, looks: str, again: int = 0) -> float:
    """Strength of the phone's look in a photo, 0 to 1."""
    rng = np.random.default_rng((int(head.name), 11)) if looks == ONE_LOOK else _draws(shot, 12, *_number(again))
    return float(rng.uniform())


def develop(head: Head, shot: Shot, kind: str, looks: str, again: int = 0) -> Developed:
    """The photo of a plate with a kind of card and a look; its balance, exposure and noise are the same every time.

    Parameters
    ----------
    head, shot : Head and Shot
    kind : str, one of `cards.KINDS`
    looks : str, one of `LOOKS`
    again : int, another photo of hair that lies as it lay and a card that stayed where it was, for each number above 0
    """
    about, rng, look = head.about, _draws(shot, 10, *_number(again)), look_of(head, shot, looks, again)
    picture = with_card(shot.raw(), shot, kind, about["spectrum"], about["camera"])
    gains = np.exp(rng.normal(0, _BALANCE, 3))
    linear = picture * (gains / gains[1]) @ head.matrix.T * 2 ** rng.uniform(-_STOPS, _STOPS)
    noise = np.sqrt(np.clip(linear, 0, None) / _ELECTRONS + _READ_NOISE**2)
    encoded = looked(linear + noise * rng.normal(size=linear.shape), look)
    content = io.BytesIO()
    codes = (np.clip(encoded, 0, 1) * 255 + 0.5).astype(np.uint8)
    Image.fromarray(codes).save(content, "JPEG", quality=_QUALITY, subsampling=2)
    return Developed(head, shot, kind, look, content.getvalue())


def looked(linear: Floats, look: float) -> Floats:
    """Encoded values after a look: colours up to 12 % stronger, a steeper middle, and a little more light.

    Parameters
    ----------
    linear : (h, w, 3), sRGB primaries
    look : float, 0 none to 1 strong
    """
    grey = luminance(linear)[..., None]
    encoded = encode(np.clip(grey + (linear - grey) * (1 + 0.12 * look), 0, 1))
    steeper = 0.16 * np.sin(2 * np.pi * (encoded - 0.5)) / (2 * np.pi) + 0.03 * np.sin(np.pi * encoded)
    return np.asarray(encoded + look * steeper)
