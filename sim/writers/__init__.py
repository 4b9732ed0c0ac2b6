"""Files that hold results: the only door to h5py."""
