"""What a command needs of the machine it runs on: whole files, locks, signals, streams, threads, kernels kept."""
