"""Band weights of the bench's lights and cameras: python weights.py WEIGHTS.npz (needs colour-science).

PYTHONPATH names sample_images/make.
"""

from __future__ import annotations

import sys

import numpy as np
from bands import BANDS
from design import SPECTRA
from spectra import weights

if __name__ == "__main__":
    np.savez(sys.argv[1], **weights(BANDS, sorted({name for names in SPECTRA.values() for name in names})))
