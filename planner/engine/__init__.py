"""Many independent jobs: in this process, on this machine's cores, or on a cluster (Dask)."""
