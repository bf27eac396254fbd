"""A session as the page shows it: opened, described, corrected, pictured."""
