"""One file per command: what it takes, what it prints. The work is done behind `pipeline.run`."""
