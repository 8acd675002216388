"""Where outdoor dual-layer PIR units hold sloping ground, where they do not, and why."""

__version__ = "0.1.0"
