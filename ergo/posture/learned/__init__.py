"""The learned correction of limb directions, and how far it may be trusted. Pure."""
