"""noctuary: a lasting archive of deep-sky pictures, published as a site that needs no server."""

__version__ = "0.1.0"
