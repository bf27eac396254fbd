"""Clock position, seat, patient and plan: landmarks and cameras in, places out. Pure."""
