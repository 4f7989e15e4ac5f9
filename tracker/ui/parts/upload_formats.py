"""Which files may be handed over as photos, and how large they may be."""

FORMATS = ["jpg", "jpeg", "heic", "heif", "png", "webp", "avif", "tif", "tiff"]
RAW_FORMATS = ["dng", "cr2", "cr3", "nef", "arw", "raf", "orf", "rw2", "pef"]
LARGEST_MB = 25
LARGEST_RAW_MB = 80
