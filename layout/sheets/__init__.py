"""Files out: each sheet writes one kind of file from a finished design."""
