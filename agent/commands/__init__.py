"""One module a command of `peakshade`."""
