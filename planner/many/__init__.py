"""Every season of a folder: found, planned by the engine, kept, and summed up."""
