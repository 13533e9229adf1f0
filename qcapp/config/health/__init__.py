"""Whether the server lives and whether it may be used, for whatever watches it. Public, so it tells nothing else."""
