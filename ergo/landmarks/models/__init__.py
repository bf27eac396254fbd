"""Networks carried with the package; README.md states origin, hashes and licence."""
