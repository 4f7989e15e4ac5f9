"""The truth bench: simulated photos with known truth, sent through the real pipeline. Run ``python -m tests.bench``.

What "true" means here: the hair's own reflectance, with its 2 % neutral surface term but without the gloss streaks that
are added to the photo, under D65 for the 2 degree observer; per band the mean in linear light of the hair between the
10th and the 90th percentile of luminance (as in ``sample_images/README.md``), from the spectra, before light, camera
and file.
"""
