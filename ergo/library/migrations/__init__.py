"""Steps of the library's layout: one numbered file each, never changed once released."""
