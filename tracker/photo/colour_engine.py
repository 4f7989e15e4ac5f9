"""The general colour engine, for the profiles that a matrix and curves cannot express."""

from __future__ import annotations

import io
from dataclasses import dataclass

from PIL import Image, ImageCms

_MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}  # picture mode for each colour space signature of a profile


@dataclass(frozen=True, slots=True)
class EngineProfile:
    """A profile that the engine accepts, with the picture mode that it describes: RGB, L or CMYK."""

    profile: ImageCms.ImageCmsProfile
    mode: str

    def to_srgb(self, image: Image.Image) -> Image.Image:
        """8-bit sRGB of a picture in `mode`, relative colorimetric; out-of-gamut colours are clipped."""
        converted = ImageCms.profileToProfile(
            image,
            self.profile,
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
        )
        if converted is None:
            raise ValueError("the colour engine gave no picture")
        return converted


def engine_profile(icc: bytes) -> EngineProfile | None:
    """A profile ready for the engine; None where the engine cannot use it.

    Parameters
    ----------
    icc : bytes of the profile, not trusted
    """
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        ready = EngineProfile(profile, _MODES[profile.profile.xcolor_space.strip()])
        ready.to_srgb(Image.new(ready.mode, (1, 1)))
    except (ImageCms.PyCMSError, OSError, ValueError, KeyError):
        return None
    return ready
