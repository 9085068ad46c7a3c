"""What is not known in winter: how much may differ, and how often it will suffice."""
