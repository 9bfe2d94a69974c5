"""skinplane: how far the skin of an infield has left its plane."""

__version__ = "0.1.0"
