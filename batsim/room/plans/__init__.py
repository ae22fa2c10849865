"""What a layout is worked out to, once for all its replications."""
