"""Trucks that keep their battery: charged and maintained where they are plugged in."""
